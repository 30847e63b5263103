"""Brakes: wear by statsmodels' least squares, heat step by step, the fluid's age by dateutil's calendar."""

import datetime

import numpy
import statsmodels.api
from dateutil.relativedelta import relativedelta
from scipy.optimize import brentq, minimize_scalar


def check(program, dice, count, Row, library):
    rows = [*wear(program, dice, count, Row, library), *heat(program, dice, count, Row, library)]
    return rows + fluid(program, dice, count, Row, library)


def pad(dice):
    """A pad that wears: evenly, unevenly, or hardly at all between some sessions. It never grows."""
    sessions = int(dice.integers(3, 13))
    # Now and then both pads of a caliper are read at one minute.
    at = numpy.cumsum(dice.uniform(5, 60, sessions) * (dice.uniform(0, 1, sessions) < 0.9))
    falls = dice.uniform(0.05, 0.8) * (1 + dice.choice([0.02, 0.3, 2.0]) * dice.uniform(-1, 1, sessions))
    thickness = dice.uniform(8, 16) - numpy.cumsum(numpy.maximum(falls, 0))
    readings = [{"at_min": float(x), "thickness_mm": float(y)} for x, y in zip(at, thickness) if y > 0]
    if len(readings) < 3 or any(readings[0][field] == readings[-1][field] for field in readings[0]):
        return pad(dice)
    return {"readings": readings, "limit_mm": float(dice.uniform(1, 5))}


def crossings(one):
    """Minutes from the last reading to where the line, and its lower 90 % prediction limit, meet the pad's limit."""
    x = numpy.array([reading["at_min"] for reading in one["readings"]])
    y = numpy.array([reading["thickness_mm"] for reading in one["readings"]])
    fit = statsmodels.api.OLS(y, statsmodels.api.add_constant(x)).fit()
    intercept, slope = fit.params
    meets = (one["limit_mm"] - intercept) / slope

    def above(at):
        low, _ = fit.get_prediction([[1.0, at]]).conf_int(obs=True, alpha=0.10)[0]
        return low - one["limit_mm"]

    # The lower limit is an arch: its top, then down to where it meets the pad's limit, at the latest where the line does.
    span = abs(meets - x.mean()) + numpy.ptp(x)
    bounds = (min(meets, x.mean()) - span, meets)
    top = minimize_scalar(lambda at: -above(at), bounds=bounds, method="bounded", options={"xatol": 1e-9}).x
    cautious = brentq(above, top, meets, xtol=1e-11, rtol=1e-14) if above(top) > 0 else -numpy.inf
    left = max(meets - x[-1], 0.0)
    return -60 * slope, left, min(max(cautious - x[-1], 0.0), left)


def wear(program, dice, count, Row, library):
    name = library("statsmodels") + ", OLS"
    rate = Row("pad-wear", "rate_mm_per_h", name, 1e-9)
    left = Row("pad-wear", "left_min", name, 1e-9)
    cautious = Row("pad-wear", "left_min_cautious", name + ", crossing by scipy brentq", 1e-7)
    positive = Row("pad-wear", "cautious figures above 0", "at least a third of the inputs", 0)
    inputs = [pad(dice) for _ in range(count)]
    above = 0
    for one, found in zip(inputs, program.answers("pad-wear", inputs)):
        wanted = crossings(one)
        rate.near(one, found["rate_mm_per_h"], wanted[0], abs(wanted[0]))
        left.near(one, found["left_min"], wanted[1], max(wanted[1], 1.0))
        cautious.near(one, found["left_min_cautious"], wanted[2], max(wanted[2], 1.0))
        above += found["left_min_cautious"] > 0
    # Noughts compared with noughts show nothing.
    positive.same(above, above >= count / 3, True)
    return [rate, left, cautious, positive]


def cool(degrees, air, per_s, interval, steps=400):
    """Newton cooling by Runge and Kutta's fourth-order steps, all inputs at once."""
    step = interval / steps
    slope = lambda at: -per_s * (at - air)
    for _ in range(steps):
        a = slope(degrees)
        b = slope(degrees + step / 2 * a)
        c = slope(degrees + step / 2 * b)
        d = slope(degrees + step * c)
        degrees = degrees + step / 6 * (a + 2 * b + 2 * c + d)
    return degrees


def heat(program, dice, count, Row, library):
    name = library("numpy") + ", stop by stop"
    energy = Row("brake-heat", "stop_energy_kj", name, 1e-12)
    rise = Row("brake-heat", "rise_c", name, 1e-12)
    peak = Row("brake-heat", "peak_c", name + ", Runge-Kutta", 1e-6, " K")
    settled = Row("brake-heat", "settled_c", name + ", until it settles", 1e-6, " K")
    inputs = []
    for _ in range(count):
        to = dice.uniform(0, 120)
        one = {
            "mass_kg": dice.uniform(600, 2500),
            "from_kmh": to + dice.uniform(5, 160),
            "to_kmh": to,
            "front_share": dice.uniform(0.5, 0.9),
            "disc_kg": dice.uniform(4, 14),
            "stops": int(dice.integers(1, 40)),
            "interval_s": dice.uniform(10, 120),
            "cooling_per_s": dice.uniform(0.002, 0.02),
            "start_c": dice.uniform(-10, 300),
            "air_c": dice.uniform(-10, 45),
        }
        inputs.append(one)
    column = lambda field: numpy.array([one[field] for one in inputs])
    fast, slow = column("from_kmh") * 1000 / 3600, column("to_kmh") * 1000 / 3600
    joule = 0.5 * column("mass_kg") * fast**2 - 0.5 * column("mass_kg") * slow**2
    gain = joule * column("front_share") / 2 / column("disc_kg") / 460.0
    air, per_s, interval = column("air_c"), column("cooling_per_s"), column("interval_s")
    degrees, peaks = column("start_c"), [None] * count
    for stop in range(1, 40):
        degrees = degrees + gain
        for at in range(count):
            if inputs[at]["stops"] == stop:
                peaks[at] = degrees[at]
        degrees = cool(degrees, air, per_s, interval)
    # Cooling is linear, so what is left of a degree after one interval tells all further stops.
    left, last = cool(numpy.ones(count), 0.0, per_s, interval), degrees + gain
    while True:
        after = air + (last - air) * left + gain
        if numpy.max(numpy.abs(after - last)) < 1e-11:
            break
        last = after
    for at, (one, found) in enumerate(zip(inputs, program.answers("brake-heat", inputs))):
        energy.near(one, found["stop_energy_kj"], joule[at] / 1000, joule[at] / 1000)
        rise.near(one, found["rise_c"], gain[at], gain[at])
        peak.near(one, found["peak_c"], peaks[at])
        settled.near(one, found["settled_c"], last[at])
    return [energy, rise, peak, settled]


def fluid(program, dice, count, Row, library):
    """Days to the 28th: of later ones libraries differ on when a short month is over."""
    months = Row("brake-fluid", "age_months", library("python-dateutil"), 0)
    inputs = []
    for _ in range(count):
        flushed = datetime.date(2000, 1, 1) + datetime.timedelta(days=int(dice.integers(0, 9000)))
        flushed = flushed.replace(day=min(flushed.day, 28))
        on = flushed + datetime.timedelta(days=int(dice.integers(0, 1500)))
        inputs.append({"grade": "DOT 4", "flushed": flushed.isoformat(), "on": on.isoformat()})
    for one, found in zip(inputs, program.answers("brake-fluid", inputs)):
        age = relativedelta(datetime.date.fromisoformat(one["on"]), datetime.date.fromisoformat(one["flushed"]))
        months.same(one, found["age_months"], 12 * age.years + age.months)
    return [months]
