"""Second opinions: the program's worksheets against libraries that other people wrote, on random inputs.

    check.py BINARY [inputs a worksheet] [seed]

Every input goes through the program itself, `witnessmark worksheet NAME`. The table has the worst difference of each figure;
the exit status is 1 where one is beyond its tolerance or the program and the library disagree on what can be answered.
"""

import json
import math
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from importlib.metadata import version

import numpy

import bodies
import brakes
import gate
import tyres

SUBJECTS = [tyres, brakes, gate, bodies]


class Program:
    """The program under test, many inputs at a time."""

    def __init__(self, binary):
        self.binary = binary

    def answers(self, name, inputs):
        """The answer of worksheet `name` to each input; a refusal is the string that names its field."""
        with ThreadPoolExecutor(2 * (os.cpu_count() or 1)) as pool:
            return list(pool.map(lambda one: self._answer(name, one), inputs))

    def _answer(self, name, one):
        asked = [self.binary, "worksheet", name]
        done = subprocess.run(asked, input=json.dumps(one), capture_output=True, text=True, timeout=60)
        if done.returncode not in (0, 2):
            raise SystemExit(f"{name} ended with {done.returncode} on {one}: {done.stderr}")
        answer = json.loads(done.stdout)
        return answer["error"]["field"] if done.returncode == 2 else answer


class Row:
    """One figure of one worksheet: the worst difference found, and where."""

    def __init__(self, worksheet, figure, library, tolerance, unit=""):
        self.worksheet, self.figure, self.library = worksheet, figure, library
        self.tolerance, self.unit = tolerance, unit
        self.inputs, self.worst, self.at, self.disagrees = 0, 0.0, None, []

    def near(self, one, found, wanted, relative_to=None):
        """Counts a pair of figures. The difference is absolute, or a share of `relative_to`."""
        self.inputs += 1
        if found is None or wanted is None or isinstance(found, str):
            if found is not wanted:
                self.disagrees.append(f"{one}: {found}, wanted {wanted}")
            return
        difference = abs(found - wanted) / (1.0 if relative_to is None else relative_to)
        if not math.isfinite(difference):
            self.disagrees.append(f"{one}: {found}, wanted {wanted}")
        elif difference > self.worst or self.at is None:
            self.worst, self.at = difference, f"{one}: {found}, wanted {wanted}"

    def same(self, one, found, wanted):
        """Counts a pair that must be equal."""
        self.inputs += 1
        if found != wanted:
            self.disagrees.append(f"{one}: {found}, wanted {wanted}")

    @property
    def holds(self):
        return self.inputs > 0 and not self.disagrees and self.worst <= self.tolerance

    def line(self):
        worst = f"{len(self.disagrees)} differ" if self.disagrees else f"{self.worst:.2g}{self.unit}"
        tolerance = "equal" if self.tolerance == 0 else f"{self.tolerance:g}{self.unit}"
        verdict = "" if self.holds else "BEYOND"
        return [self.worksheet, self.figure, self.library, str(self.inputs), worst, tolerance, verdict]


def library(name):
    """A library with its version."""
    return f"{name} {version(name)}"


def main():
    if len(sys.argv) not in (2, 3, 4):
        raise SystemExit(__doc__)
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 300
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    program = Program(sys.argv[1])
    rows = []
    for nth, subject in enumerate(SUBJECTS):
        # A subject of its own dice: adding a check to one does not move the others.
        rows += subject.check(program, numpy.random.default_rng([seed, nth]), count, Row, library)
    table = [["worksheet", "figure", "library", "inputs", "worst difference", "tolerance", ""]] + [row.line() for row in rows]
    widths = [max(len(line[column]) for line in table) for column in range(len(table[0]))]
    for line in table:
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths)).rstrip())
    failed = [row for row in rows if not row.holds]
    for row in failed:
        print(f"\n{row.worksheet}, {row.figure}:")
        for text in row.disagrees[:5] or [row.at or "no input was compared"]:
            print(f"  {text}")
    print(f"\nsecond opinions: {len(rows) - len(failed)} passed, {len(failed)} failed (seed {seed})")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
