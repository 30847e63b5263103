"""The gate: spot checks by scipy's hypergeometric law, the queue by pyworkforce and by summing up its states."""

import numpy
from pyworkforce.queuing import ErlangC
from scipy.stats import hypergeom, poisson


def check(program, dice, count, Row, library):
    return [*spot_check(program, dice, count, Row, library), *queue(program, dice, count, Row, library)]


def spot_check(program, dice, count, Row, library):
    name = library("scipy") + ", hypergeom"
    sample = Row("spot-check", "sample", name, 0)
    missed = Row("spot-check", "chance_missed", name, 1e-9)
    inputs = []
    for _ in range(count):
        cars = int(dice.integers(1, dice.choice([20, 200, 3000])))
        inputs.append({
            "cars": cars,
            "confidence": float(dice.choice([0.5, 0.9, 0.95, 0.99, dice.uniform(0.01, 0.9999)])),
            "tolerated_bad": int(min(dice.integers(0, cars + 2), dice.integers(0, 40))),
        })
    for one, found in zip(inputs, program.answers("spot-check", inputs)):
        cars, bad = one["cars"], one["tolerated_bad"] + 1
        if bad > cars:
            sample.same(one, (found["sample"], found["chance_missed"]), (0, 0))
            continue
        chances = hypergeom.pmf(0, cars, bad, numpy.arange(cars + 1))
        # Round shares of a whole number of cars are met exactly, and 1 - 0.9 is a hair under 0.1 in binary.
        smallest = int(numpy.argmax(chances <= (1 - one["confidence"]) * (1 + 1e-9)))
        sample.same(one, found["sample"], smallest)
        missed.near(one, found["chance_missed"], chances[smallest], max(chances[smallest], 1e-300))
    return [sample, missed]


def chain(load, lanes):
    """Chance to wait and mean number waiting, by the weights of the queue's states one by one."""
    busy = load / lanes
    states = numpy.arange(1, lanes + int(40 / -numpy.log(busy)) + 50)
    logs = numpy.concatenate([[0.0], numpy.cumsum(numpy.log(load / numpy.minimum(states, lanes)))])
    weights = numpy.exp(logs - logs.max())
    weights /= weights.sum()
    waiting = numpy.maximum(numpy.arange(len(weights)) - lanes, 0)
    return weights[lanes:].sum(), (weights * waiting).sum()


def queue(program, dice, count, Row, library):
    theirs = Row("gate-queue", "p_wait", library("pyworkforce") + ", ErlangC", 1e-9)
    poissons = Row("gate-queue", "p_wait", library("scipy") + ", poisson", 1e-7)
    states = Row("gate-queue", "p_wait", library("numpy") + ", state by state", 1e-9)
    length = Row("gate-queue", "mean_queue", library("numpy") + ", state by state", 1e-9)
    wait = Row("gate-queue", "mean_wait_min", "Little's law", 1e-9)
    drain = Row("gate-queue", "drain_min", "drawn car by car", 1e-9)
    inputs = []
    for _ in range(count):
        lanes, check_min = int(dice.choice([dice.integers(1, 8), dice.integers(1, 100)])), dice.uniform(0.3, 12)
        busy = dice.uniform(0.05, 0.98)
        inputs.append({
            "arrivals_per_h": busy * lanes * 60 / check_min,
            "check_min": check_min,
            "lanes": lanes,
            "cars": int(dice.integers(0, 200)),
        })
    for one, found in zip(inputs, program.answers("gate-queue", inputs)):
        lanes, check_min, per_min = one["lanes"], one["check_min"], one["arrivals_per_h"] / 60
        load = per_min * check_min
        wanted = ErlangC(transactions=one["arrivals_per_h"], aht=check_min, asa=1.0, interval=60).waiting_probability(lanes)
        theirs.near(one, found["p_wait"], wanted, wanted)
        blocked = poisson.pmf(lanes, load) / poisson.cdf(lanes, load)
        wanted = blocked / (1 - load / lanes * (1 - blocked))
        poissons.near(one, found["p_wait"], wanted, wanted)
        waits, waiting = chain(load, lanes)
        states.near(one, found["p_wait"], waits, waits)
        length.near(one, found["mean_queue"], waiting, waiting)
        wait.near(one, found["mean_wait_min"], waiting / per_min, waiting / per_min)
        free = [0.0] * lanes
        for _ in range(one["cars"]):
            first = free.index(min(free))
            free[first] += check_min
        drain.near(one, found["drain_min"], max(free), max(max(free), 1.0))
    return [theirs, poissons, states, length, wait, drain]
