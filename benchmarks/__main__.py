"""``python -m benchmarks AREA [--quick]``: a JSON line a figure on stdout, a table on standard error.

Exit status: 0 when every figure reaches its bar; 1 when one falls short, or an area gives none.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import sys
from collections.abc import Callable, Iterable, Sequence

from benchmarks.figure import Figure, table

AREAS = ("simulator", "historian", "collector", "rules", "trials", "dashboard", "reliability")
Measure = Callable[[bool], Iterable[Figure]]
Find = Callable[[str], Measure | None]


def measure_of(area: str) -> Measure | None:
    """The area's ``figures(quick)``; None when the area is not built yet."""
    if importlib.util.find_spec(f"benchmarks.{area}") is None:
        return None
    found: Measure = importlib.import_module(f"benchmarks.{area}").figures
    return found


def run_area(area: str, *, quick: bool, find: Find = measure_of) -> bool:
    """Measure one area and print it; gives whether it has figures and all reach their bars."""
    measure = find(area)
    if measure is None:
        print(f"{area}: not built yet", file=sys.stderr)
        return False
    taken: list[Figure] = []
    for figure in measure(quick):
        print(figure.to_json(), flush=True)
        taken.append(figure)
    if not taken:
        print(f"{area}: gave no figure", file=sys.stderr)
        return False
    print(f"{area}{' (quick: small data)' if quick else ''}\n{table(taken)}\n", file=sys.stderr)
    return all(figure.holds for figure in taken)


def main(arguments: Sequence[str] | None = None, *, find: Find = measure_of) -> int:
    """Run the areas that were asked for; gives the exit status."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("area", choices=[*AREAS, "all"])
    parser.add_argument("--quick", action="store_true", help="small data and scaled bars")
    options = parser.parse_args(arguments)
    areas = AREAS if options.area == "all" else (options.area,)
    held = [run_area(area, quick=options.quick, find=find) for area in areas]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
