"""Makes roads.osm.pbf, an invented extract written by a general library, and roads.csv, the drives in it by another.

The reader of extracts and the search in src/roads are compared with both by tests/roads/reference.rs. The files are
kept in the repository, so the tests need no Python; run this only to make them anew:

    python3 -m venv /some/folder/outside/the/repository
    /some/folder/outside/the/repository/bin/pip install osmium==4.3.2 scipy==1.17.1
    /some/folder/outside/the/repository/bin/python tests/reference/roads.py tests/reference

The extract: osmium 4.3.2 (libosmium), packed nodes, a header with the data's day. The world is invented: a crooked grid
of roads with bends, one-ways both ways, posted limits in mph and km/h, gravel, private lanes, a roundabout, bollards,
an island, footpaths, addresses on nodes and on buildings.

The drives: scipy 1.17.1, scipy.sparse.csgraph.dijkstra, on a graph of every node of every road (nothing is joined or cut
at junctions here). Great circles on a sphere of 6371008.8 m; 90 % of a posted limit; the speeds of the classes as in
src/roads/speeds.rs. Columns: latitude and longitude of two nodes, seconds, and metres of a quickest way.
"""

import csv
import math
import pathlib
import random
import sys

import numpy
import osmium
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

SIDE = 11
RADIUS = 6371008.8
KMH = {"primary": 80, "secondary": 75, "tertiary": 65, "unclassified": 55, "residential": 40, "service": 20}
chance = random.Random(4021)
nodes, ways = {}, []


def node(lat, lon, **tags):
    nodes[len(nodes) + 1] = (round(lat, 7), round(lon, 7), {k.replace("__", ":"): v for k, v in tags.items()})
    return len(nodes)


def way(refs, **tags):
    ways.append((refs, {k.replace("__", ":"): v for k, v in tags.items()}))


def road():
    tags = {"highway": chance.choice(list(KMH)), "name": chance.choice(["Larch Road", "Tarn Lane", "Mill Road"])}
    draw = chance.random()
    if draw < 0.15:
        tags["oneway"] = chance.choice(["yes", "-1"])
    if chance.random() < 0.3:
        tags["maxspeed"] = chance.choice(["55 mph", "35 mph", "70", "30"])
    if chance.random() < 0.15:
        tags["surface"] = "gravel"
    if chance.random() < 0.1:
        tags["access"] = chance.choice(["private", "no"])
    return tags


def world():
    cross = {}
    for j in range(SIDE):
        for i in range(SIDE):
            cross[i, j] = node(44 + j * 0.012 + chance.uniform(-3e-3, 3e-3), -91 + i * 0.016 + chance.uniform(-4e-3, 4e-3))
    for (i, j), a in cross.items():
        for b in (cross.get((i + 1, j)), cross.get((i, j + 1))):
            if b is None or chance.random() < 0.12:
                continue
            (la, lo, _), (lb, lp, _) = nodes[a], nodes[b]
            refs = [a]
            for t in sorted(chance.random() for _ in range(chance.randrange(4))):
                tags = {"barrier": chance.choice(["bollard", "gate"])} if chance.random() < 0.06 else {}
                refs.append(node(la + t * (lb - la) + chance.uniform(-8e-4, 8e-4), lo + t * (lp - lo), **tags))
            way(refs + [b], **road())
    ring = [node(44.2 + 0.0004 * math.sin(k), -90.9 + 0.0006 * math.cos(k)) for k in range(6)]
    way(ring + ring[:1], highway="tertiary", junction="roundabout")
    way([cross[2, SIDE - 1], ring[0]], highway="tertiary")
    way([cross[5, SIDE - 1], ring[3]], highway="tertiary")
    island = [node(44.5, -90.5), node(44.51, -90.5)]
    way(island, highway="primary")
    way([cross[0, 0], cross[SIDE - 1, SIDE - 1]], highway="footway")
    node(44.05, -90.95, addr__housenumber="12", addr__street="Larch Road", addr__city="Tarnford")
    house = [node(44.06 + dy, -90.94 + dx) for dx, dy in ((0, 0), (2e-4, 0), (2e-4, 2e-4), (0, 2e-4))]
    way(house + house[:1], building="yes", addr__housenumber="14", addr__street="Larch Road")
    node(44.055, -90.92, place="village", name="Tarnford")


def write(path):
    header = osmium.io.Header()
    header.set("generator", "roads.py")
    header.set("osmosis_replication_timestamp", "2026-01-02T03:04:05Z")
    path.unlink(missing_ok=True)
    with osmium.SimpleWriter(str(path), header=header) as out:
        for i, (lat, lon, tags) in nodes.items():
            out.add_node(osmium.osm.mutable.Node(id=i, location=(lon, lat), tags=tags))
        for i, (refs, tags) in enumerate(ways, 1):
            out.add_way(osmium.osm.mutable.Way(id=i, nodes=refs, tags=tags))


def metres(a, b):
    (la, lo, _), (lb, lp, _) = nodes[a], nodes[b]
    la, lo, lb, lp = map(math.radians, (la, lo, lb, lp))
    h = math.sin((lb - la) / 2) ** 2 + math.cos(la) * math.cos(lb) * math.sin((lp - lo) / 2) ** 2
    return 2 * RADIUS * math.asin(math.sqrt(h))


def speed(tags):
    kmh = KMH[tags["highway"]]
    if "maxspeed" in tags:
        number = tags["maxspeed"].split()
        kmh = float(number[0]) * (1.609344 if len(number) > 1 else 1) * 0.9
    if tags.get("surface") == "gravel":
        kmh = min(kmh, 55)
    return min(kmh, 15) if tags.get("access") == "private" else kmh


def arcs():
    """A bollard is one vertex for each piece of road that ends at it."""
    for refs, tags in ways:
        if tags.get("highway") not in KMH or tags.get("access") == "no":
            continue
        ahead = tags.get("oneway") != "-1"
        back = tags.get("oneway") != "yes" and tags.get("junction") != "roundabout"
        kmh = speed(tags)
        for k, (a, b) in enumerate(zip(refs, refs[1:])):
            shut = [nodes[n][2].get("barrier") == "bollard" for n in (a, b)]
            u = (a, "after") if shut[0] else a
            v = (b, "before") if shut[1] else b
            s = metres(a, b) / kmh * 3.6
            if ahead:
                yield u, v, s, metres(a, b)
            if back:
                yield v, u, s, metres(a, b)


def main(folder):
    world()
    write(folder / "roads.osm.pbf")
    best = {}
    for u, v, s, m in arcs():
        best[u, v] = min(best.get((u, v), (math.inf, 0)), (s, m))
    names = sorted({x for pair in best for x in pair}, key=str)
    place = {n: i for i, n in enumerate(names)}
    rows, cols = [place[u] for u, _ in best], [place[v] for _, v in best]
    shape = (len(names), len(names))
    graph = csr_matrix(([s for s, _ in best.values()], (rows, cols)), shape)
    _, part = connected_components(graph, connection="strong")
    main_part = numpy.bincount(part).argmax()
    stops = sorted(n for n in names if isinstance(n, int) and part[place[n]] == main_part)
    stops = chance.sample(stops, 30)
    seconds, before = dijkstra(graph, indices=[place[n] for n in stops], return_predecessors=True)
    out = csv.writer(sys.stdout if folder is None else open(folder / "roads.csv", "w"), lineterminator="\n")
    out.writerow(["from_lat", "from_lon", "to_lat", "to_lon", "seconds", "metres"])
    for i, a in enumerate(stops):
        for b in stops:
            at, length = place[b], 0.0
            while at != place[a]:
                prior = before[i, at]
                length += best[names[prior], names[at]][1]
                at = prior
            (la, lo, _), (lb, lp, _) = nodes[a], nodes[b]
            out.writerow([f"{la:.7f}", f"{lo:.7f}", f"{lb:.7f}", f"{lp:.7f}", f"{seconds[i, place[b]]:.3f}", f"{length:.1f}"])


main(pathlib.Path(sys.argv[1]))
