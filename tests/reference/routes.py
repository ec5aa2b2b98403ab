"""What general-purpose libraries make of the invented weeks, judged by one checker: writes routes_libraries.csv.

The bench `routes` compares our search with the best plans known (routes.csv); this tells what others reach. It is kept in
the repository for reference and no test reads it. To make it anew:

    cargo bench --bench routes -- write /some/folder
    python3 -m venv /some/folder/venv
    /some/folder/venv/bin/pip install pyvrp==0.14.1 ortools==9.15.6755 pyvroom==1.15.2 numpy==2.4.6
    /some/folder/venv/bin/python tests/reference/routes.py /some/folder THE_BENCH > tests/reference/routes_libraries.csv

THE_BENCH is the program that `cargo bench --no-run` names: the house's own search is run in the same run by the same judge.
Seconds are of the processor, one thread each, so that a machine with other work to do harms nobody; vroom counts seconds of
the clock, and is asked again with more of them when it had less of the processor than it should. Its limit may well be more than it
uses: it ends by itself. Seeds 1 to 3 where there are seeds; other settings at their defaults. Rows come in the order of running.

How the problem is put to them: pyvrp knows no lunch, so lunch is cut out of the day at noon and the checker finds it a
place; one vehicle type for each shift, one client for each window in groups of which one at most is served. ortools:
disjunctions, forbidden intervals, breaks, parallel cheapest insertion and guided local search. vroom: breaks and skills of
its own; it has priorities, not prices, so it is not asked to weigh driving against leaving out.
"""

import csv
import datetime
import json
import pathlib
import subprocess
import sys
from time import monotonic, process_time

import numpy

DAY = 86400
NOON = 12 * 3600


class Instance:
    """Shifts, jobs and the table of drives as `write` leaves them; times in seconds from the first midnight."""

    def __init__(self, folder, name):
        data = json.loads((folder / f"{name}.json").read_text())
        self.name, self.jobs, self.shifts, self.places = name, data["jobs"], data["shifts"], data["locs"]
        count = len(self.places)
        self.drive = numpy.fromfile(folder / f"{name}.mat", dtype="<i4").reshape(count, count)

    def may(self, job, k):
        """Whether skill, lock and windows allow `job` in shift `k`."""
        shift, lock = self.shifts[k], job["lock"]
        able = job["skill"] & ~shift["skills"] == 0 and (not lock or lock["shift"] == k)
        return able and any(a <= shift["end"] and b >= shift["start"] for a, b in job["tw"])


def judge(instance, routes):
    """Objective (driving and penalties, seconds), visits served, and broken rules, of {shift: [job, ...]}."""
    broken, served, drive = 0, [j for route in routes.values() for j in route], 0
    broken += len(served) - len(set(served))
    for k, route in routes.items():
        shift = instance.shifts[k]
        broken += sum(not instance.may(instance.jobs[j], k) for j in route)
        broken += sum(instance.jobs[j]["qty"] for j in route) > shift["cap"]
        stops = [shift["depot"], *(instance.jobs[j]["loc"] for j in route), shift["depot"]]
        drive += sum(int(instance.drive[a, b]) for a, b in zip(stops, stops[1:]))
        broken += not in_time(instance, shift, route)
    left = [job for j, job in enumerate(instance.jobs) if j not in set(served)]
    broken += sum(1 for job in left if job["lock"])
    return drive + sum(job["pen"] for job in left), len(set(served)), broken


def in_time(instance, shift, route):
    """Whether a route keeps windows, hours and lunch: earliest times with lunch to come and with lunch had."""
    opens, closes, length = shift["brk"]
    times, here = {False: shift["start"]}, shift["depot"]
    for j in [*route, None]:
        job = instance.jobs[j] if j is not None else None
        there = job["loc"] if job else shift["depot"]
        leg = int(instance.drive[here, there])
        reached = {had: t + leg for had, t in times.items()}
        if times.get(False, closes + 1) <= closes:
            lunch = max(times[False] + leg, opens) + length
            reached[True] = min(reached.get(True, lunch), lunch)
        times, here = {}, there
        for had, t in reached.items():
            if job is None:
                if t <= shift["end"] and (had or t <= closes):
                    return True
                continue
            starts = [max(a, t) for a, b in job["tw"] if t <= b]
            if starts:
                times[had] = min(starts) + job["svc"]
    return False


def pyvrp(instance, seconds, seed):
    """Routes by pyvrp."""
    import pyvrp as p

    def cut(t):
        noon = t // DAY * DAY + NOON
        return t if t <= noon else max(noon, t - 1800)

    profiles, tables = {}, []
    locked = any(job["lock"] for job in instance.jobs)
    who = lambda s: (s["skills"], s["tech"] if locked else 0)
    for shift in instance.shifts:
        if who(shift) in profiles:
            continue
        profiles[who(shift)] = len(tables)
        table = instance.drive.astype(numpy.int64).copy()
        for job in instance.jobs:
            lock = job["lock"]
            if job["skill"] & ~shift["skills"] or (lock and instance.shifts[lock["shift"]]["tech"] != shift["tech"]):
                table[:, job["loc"]] = 10**6
                table[job["loc"], job["loc"]] = 0
        tables.append(table)
    depots = sorted({s["depot"] for s in instance.shifts})
    clients, groups, owner = [], [], []
    for j, job in enumerate(instance.jobs):
        group = None
        if len(job["tw"]) > 1:
            group = len(groups)
            groups.append(p.ClientGroup([], required=False))
        for a, b in job["tw"]:
            if group is not None:
                groups[group].add_client(len(clients))
            owner.append(j)
            times = {"tw_early": cut(a), "tw_late": cut(b), "service_duration": job["svc"]}
            clients.append(p.Client(job["loc"], delivery=[job["qty"]], prize=job["pen"], required=False, group=group, **times))
    types = []
    for s in instance.shifts:
        home = depots.index(s["depot"])
        types.append(p.VehicleType(1, [s["cap"]], home, home, 0, s["start"], s["end"] - s["brk"][2], profile=profiles[who(s)]))
    places = [p.Location(x, y) for x, y in instance.places]
    data = p.ProblemData(places, clients, [p.Depot(location=d) for d in depots], types, tables, tables, groups)
    ends = process_time() + seconds
    best = p.solve(data, lambda _: process_time() > ends, seed=seed, collect_stats=False, display=False).best
    return {r.vehicle_type(): [owner[a.idx] for a in r if a.is_client()] for r in best.routes()}


def ortools(instance, seconds, _):
    """Routes by ortools."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2 as choices

    shifts, count = instance.shifts, len(instance.places)
    homes = [s["depot"] for s in shifts]
    manager = pywrapcp.RoutingIndexManager(count, len(shifts), homes, homes)
    model = pywrapcp.RoutingModel(manager)
    job_at = {job["loc"]: j for j, job in enumerate(instance.jobs)}
    of = lambda key: [instance.jobs[job_at[n]][key] if n in job_at else 0 for n in range(count)]
    service, table = of("svc"), instance.drive.tolist()
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(table))
    transit = model.RegisterTransitMatrix([[leg + service[a] for leg in row] for a, row in enumerate(table)])
    horizon = max(s["end"] for s in shifts) + 1
    model.AddDimension(transit, horizon, horizon, False, "time")
    time = model.GetDimensionOrDie("time")
    model.AddDimensionWithVehicleCapacity(model.RegisterUnaryTransitVector(of("qty")), 0, [s["cap"] for s in shifts], True, "load")
    on_site = [0 if model.IsStart(i) else service[manager.IndexToNode(i)] for i in range(model.Size())]
    for k, s in enumerate(shifts):
        time.CumulVar(model.Start(k)).SetRange(s["start"], s["end"])
        time.CumulVar(model.End(k)).SetRange(s["start"], s["end"])
        lunch = model.solver().FixedDurationIntervalVar(*s["brk"], False, f"lunch {k}")
        time.SetBreakIntervalsOfVehicle([lunch], k, on_site)
    for node in set(range(count)) - set(homes):
        index = manager.NodeToIndex(node)
        if node not in job_at:
            model.AddDisjunction([index], 0)
            continue
        job = instance.jobs[job_at[node]]
        time.CumulVar(index).SetRange(job["tw"][0][0], job["tw"][-1][1])
        for (_, shuts), (opens, _) in zip(job["tw"], job["tw"][1:]):
            time.CumulVar(index).RemoveInterval(shuts + 1, opens - 1)
        model.VehicleVar(index).SetValues([-1, *(k for k in range(len(shifts)) if instance.may(job, k))])
        model.AddDisjunction([index], job["pen"])
    settings = pywrapcp.DefaultRoutingSearchParameters()
    settings.first_solution_strategy = choices.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    settings.local_search_metaheuristic = choices.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    settings.time_limit.FromSeconds(int(seconds) * 30)
    ends = process_time() + seconds
    model.AddSearchMonitor(model.solver().CustomLimit(lambda: process_time() > ends))
    found, routes = model.SolveWithParameters(settings), {}
    for k in range(len(shifts)) if found else ():
        index, routes[k] = found.Value(model.NextVar(model.Start(k))), []
        while not model.IsEnd(index):
            routes[k].append(job_at[manager.IndexToNode(index)])
            index = found.Value(model.NextVar(index))
    return routes


def vroom(instance, seconds, _):
    """Routes by vroom."""
    import vroom as v

    question = v.Input()
    question.set_durations_matrix("car", instance.drive.astype(numpy.uint32))
    bits = lambda skills: {b for b in range(8) if skills >> b & 1}
    for k, s in enumerate(instance.shifts):
        lunch = v.Break(k + 1, [v.TimeWindow(s["brk"][0], s["brk"][1])], s["brk"][2])
        hours, able = v.TimeWindow(s["start"], s["end"]), bits(s["skills"]) | {100 + k}
        ends = {"start": s["depot"], "end": s["depot"]}
        question.add_vehicle(v.Vehicle(k + 1, capacity=[s["cap"]], skills=able, time_window=hours, breaks=[lunch], **ends))
    dearest = max(job["pen"] for job in instance.jobs)
    for j, job in enumerate(instance.jobs):
        asked = bits(job["skill"]) | ({100 + job["lock"]["shift"]} if job["lock"] else set())
        rank = 100 if job["lock"] else max(1, round(90 * job["pen"] / dearest))
        windows = [v.TimeWindow(a, b) for a, b in job["tw"]]
        amounts = {"default_service": job["svc"], "delivery": [job["qty"]]}
        question.add_job(v.Job(j + 1, job["loc"], skills=asked, priority=rank, time_windows=windows, **amounts))
    clock = seconds
    for _ in range(4):
        began, started = process_time(), monotonic()
        found = question.solve(exploration_level=5, nb_threads=1, timeout=datetime.timedelta(seconds=clock)).routes
        used = process_time() - began
        if monotonic() - started < 0.95 * clock or used > 0.95 * seconds:
            break
        clock *= seconds / max(used, 0.1)
    routes = {}
    for _, row in found[found["type"] == "job"].iterrows():
        routes.setdefault(int(row["vehicle_id"]) - 1, []).append(int(row["id"]) - 1)
    return routes


def own(instance, seconds, seed):
    """Routes by the house's own search."""
    asked = [sys.argv[2], "plan", instance.name, f"{seconds:g}", str(seed)]
    return dict(enumerate(json.loads(subprocess.run(asked, check=True, capture_output=True).stdout)))


def main():
    folder = pathlib.Path(sys.argv[1])
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(["instance", "library", "seconds", "seed", "objective", "served", "broken rules"])
    for seed in (1, 2, 3):
        for name in ("W1", "W2", "W3", "S1"):
            instance = Instance(folder, name)
            for seconds in (2, 10, 60):
                for library in (own, pyvrp) if seed > 1 else (own, pyvrp, ortools, vroom):
                    judged = judge(instance, library(instance, seconds, seed))
                    out.writerow([name, library.__name__, seconds, seed, *judged])
                    sys.stdout.flush()


if __name__ == "__main__":
    main()
