"""Records what two public road engines answer over HTTP: writes engines.json, which tests/roads/engines.rs reads.

The file is kept in the repository, so the tests need neither Python nor an engine; run this only to make it anew. The engines
are the programs inside two wheels (for CPython 3.12 and later; the programs run without Python), unpacked into a folder:

    pip download --no-deps --only-binary=:all: --python-version 3.12 osrm-bindings==26.10.0 pyvalhalla==3.9.1
    unzip osrm_bindings-*.whl -d /some/folder; unzip pyvalhalla-*.whl -d /some/folder
    python3 tests/reference/engines.py /some/folder > tests/reference/engines.json

Both drive on roads.osm.pbf beside this script, which is invented (roads.py); so nothing here is anybody's data. Kind `table` is
asked of osrm-routed 26.10.0 with its own car profile, kind `matrix` of valhalla_service 3.9.1 with its usual settings. Each record: kind, name, the
request as the house sends it (src/sources/words.rs must make the very same), the status, and the answer unchanged.
"""

import json
import os
import pathlib
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request

HERE = pathlib.Path(__file__).parent
# Pins in the invented extract, and one 75 km off it.
PINS = [(44.02, -90.98), (44.05, -90.92), (44.08, -90.88), (44.1, -90.95)]
FAR = (44.7, -90.5)
PORTS = {"table": 5912, "matrix": 5913}


def call(kind, path, body=None):
    """Status and text of one exchange."""
    headers = {"Content-Type": "application/json"}
    request = urllib.request.Request(f"http://127.0.0.1:{PORTS[kind]}{path}", data=body.encode() if body else None, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode()


def table(sources, targets):
    places = ";".join(f"{lon:.7f},{lat:.7f}" for lat, lon in [*sources, *targets])
    numbers = lambda first, count: ";".join(str(n) for n in range(first, first + count))
    asked = f"sources={numbers(0, len(sources))}&destinations={numbers(len(sources), len(targets))}"
    return f"/table/v1/driving/{places}?annotations=duration,distance&generate_hints=false&{asked}", None


def matrix(sources, targets):
    place = lambda p: f'{{"lat":{p[0]:.7f},"lon":{p[1]:.7f},"search_cutoff":2000}}'
    list_of = lambda places: "[" + ",".join(map(place, places)) + "]"
    asked = f'"sources":{list_of(sources)},"targets":{list_of(targets)}'
    return "/sources_to_targets", f'{{{asked},"costing":"auto","units":"kilometers","verbose":false}}'


def line(count):
    """Pins in a row: more than an engine takes at once."""
    return [(44.02 + n * 0.001, -90.95) for n in range(count)]


QUESTIONS = {
    "square": (PINS, PINS),
    "not square": (PINS[:1], PINS[1:]),
    "a pin far off": ([*PINS[:2], FAR], [*PINS[:2], FAR]),
    "too many": (line(110), line(110)),
}


def wait(kind, path, body):
    for _ in range(80):
        try:
            return call(kind, path, body)
        except OSError:
            time.sleep(0.25)
    raise SystemExit(f"the engine for {kind} does not come up")


def table_engine(folder, work):
    programs = folder / "osrm" / "bin"
    extract = work / "m.osm.pbf"
    shutil.copy(HERE / "roads.osm.pbf", extract)
    run(programs / "osrm-extract", "-p", folder / "osrm/share/profiles/car.lua", extract)
    run(programs / "osrm-contract", work / "m.osrm")
    return start(programs / "osrm-routed", "-i", "127.0.0.1", "-p", PORTS["table"], work / "m.osrm")


def matrix_engine(folder, work):
    programs = folder / "valhalla" / "bin"
    tiles = work / "tiles"
    tiles.mkdir()
    made = subprocess.run(
        [sys.executable, folder / "valhalla" / "valhalla_build_config.py", "--mjolnir-tile-dir", tiles, "--mjolnir-tile-extract", "",
         "--mjolnir-admin", "", "--mjolnir-timezone", "", "--httpd-service-listen", f"tcp://127.0.0.1:{PORTS['matrix']}"],
        check=True, capture_output=True, text=True,
    )
    settings = work / "settings.json"
    settings.write_text(made.stdout)
    run(programs / "valhalla_build_tiles", "-c", settings, HERE / "roads.osm.pbf")
    return start(programs / "valhalla_service", settings, 1)


def run(program, *words):
    os.chmod(program, 0o755)
    subprocess.run([program, *map(str, words)], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def start(program, *words):
    os.chmod(program, 0o755)
    return subprocess.Popen([program, *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def main():
    folder = pathlib.Path(sys.argv[1])
    work = folder / "engines-work"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    records = []
    for kind, engine, words in (("table", table_engine, table), ("matrix", matrix_engine, matrix)):
        running = engine(folder, work)
        try:
            wait(kind, *words(PINS[:1], PINS[1:2]))
            for name, (sources, targets) in QUESTIONS.items():
                path, body = words(sources, targets)
                status, answer = call(kind, path, body)
                records.append({"kind": kind, "name": name, "from": sources, "to": targets, "path": path, "body": body, "status": status, "answer": answer})
        finally:
            running.terminate()
            running.wait()
    print("[\n" + ",\n".join(json.dumps(record) for record in records) + "\n]")


if __name__ == "__main__":
    main()
