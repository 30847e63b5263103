"""Tyres: pressure against the real gas, the week of the date code against the calendar."""

import datetime

from CoolProp.CoolProp import PropsSI

ZERO_C = 273.15


def check(program, dice, count, Row, library):
    return [*pressure(program, dice, count, Row, library), *date_code(program, dice, count, Row)]


def pressure(program, dice, count, Row, library):
    """The worksheet reckons with an ideal gas; air at fixed density, by its equation of state, is the judge."""
    name = library("CoolProp") + ", air"
    absolute = Row("tyre-pressure", "set_cold_kpa", name, 2.0, " kPa")
    share = Row("tyre-pressure", "set_cold_kpa, of absolute", name, 0.0031)
    hot = Row("tyre-pressure", "hot_c", name, 1.5, " K")
    inputs = []
    for _ in range(count):
        cold = dice.uniform(110, 350)
        one = {
            "cold_kpa": cold,
            "cold_c": dice.uniform(-5, 40),
            "hot_kpa": cold * dice.uniform(1.02, 1.4),
            "target_hot_kpa": dice.uniform(150, 400),
            "next_cold_c": dice.uniform(-5, 40),
            "ambient_kpa": dice.uniform(80, 105),
        }
        inputs.append(one)
    for one, found in zip(inputs, program.answers("tyre-pressure", inputs)):
        ambient, cold_k, next_k = one["ambient_kpa"], one["cold_c"] + ZERO_C, one["next_cold_c"] + ZERO_C
        density = PropsSI("Dmass", "P", 1e3 * (one["cold_kpa"] + ambient), "T", cold_k, "Air")
        hot_k = PropsSI("T", "P", 1e3 * (one["hot_kpa"] + ambient), "Dmass", density, "Air")
        next_hot_k = next_k + hot_k - cold_k
        density = PropsSI("Dmass", "P", 1e3 * (one["target_hot_kpa"] + ambient), "T", next_hot_k, "Air")
        wanted = PropsSI("P", "T", next_k, "Dmass", density, "Air") / 1e3 - ambient
        absolute.near(one, found["set_cold_kpa"], wanted)
        share.near(one, found["set_cold_kpa"], wanted, wanted + ambient)
        hot.near(one, found["hot_c"], hot_k - ZERO_C)
    return [absolute, share, hot]


def date_code(program, dice, count, Row):
    """Week 01 is that of the year's first Sunday, which is what %U counts."""
    sunday = Row("tyre-date", "made_from", "datetime, %U", 0)
    age = Row("tyre-date", "age_years", "datetime", 1e-12)
    on = datetime.date(2100, 2, 1)
    inputs = []
    for _ in range(count):
        week, year = int(dice.integers(1, 53)), int(dice.integers(0, 100))
        inputs.append({"code": f"{week:02}{year:02}", "on": on.isoformat()})
    for one, found in zip(inputs, program.answers("tyre-date", inputs)):
        made = datetime.datetime.strptime(f"20{one['code'][2:]} {one['code'][:2]} 0", "%Y %U %w").date()
        sunday.same(one, found["made_from"], made.isoformat())
        age.near(one, found["age_years"], (on - made).days / 365.2425)
    return [sunday, age]
