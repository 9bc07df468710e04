"""How long answers about water take: each calculator's example, nutrients two years ahead, a year with every term,
nine salts at once.

    python tests/benchmarks/water.py

In the process, without a database. The turnover calculator is the yardstick. Exit status 1 if a bar is missed.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

from weirbook.engine.calculators.turnover import TURNOVER
from weirbook.engine.catalogue import CALCULATORS, calculator
from weirbook.engine.relations.nutrients import Day, Inflow, Pair, simulate
from weirbook.engine.shape import answer, as_json

ANSWER_BAR_MS, AHEAD_BAR_MS, YEAR_BAR_MS, RECIPE_BAR_MS = 10, 30, 50, 20
WATER = (
    "acclimate",
    "ammonia",
    "carbonate",
    "conductivity",
    "dechlorinate",
    "dose",
    "dose-recipe",
    "dose-schedule",
    "dose-stock",
    "dose-treatment",
    "hardness",
    "nitrifier-surface",
    "nutrients",
    "oxygen-budget",
    "oxygen-saturation",
    "plant-bed",
    "plant-uptake",
    "salt-change",
    "water-blend",
    "water-change",
    "water-change-temperature",
)
ROUNDS = 50
NINE_SALTS = {
    "volume": "400 L",
    "alkalinity": "4 dKH",
    "hardness": "6 dGH",
    "ratio": "3",
    "potassium": "10 mg/L K",
    "nitrate": "8 mg/L NO3",
    "phosphate": "0.8 mg/L PO4",
}
SALTS = (
    "sodium_bicarbonate",
    "potassium_bicarbonate",
    "calcium_chloride_dihydrate",
    "calcium_sulfate_dihydrate",
    "magnesium_sulfate_heptahydrate",
    "potassium_nitrate",
    "monopotassium_phosphate",
    "potassium_sulfate",
    "calcium_nitrate_tetrahydrate",
)

STANDS = [
    {"name": f"stand {number}", "growth_form": form, "area": "0.1 m2"}
    for number, form in enumerate(("floating", "emergent", "submersed", "other") * 2)
]


def main() -> int:
    yardstick = _median(lambda: as_json(answer(TURNOVER, TURNOVER.example)))
    slowest = 0.0
    for name in WATER:
        one = calculator(name)
        taken = _median(lambda one=one: as_json(answer(one, one.example)))  # type: ignore[misc]
        slowest = max(slowest, taken)
        print(f"{name:18} {taken:6.2f} ms, {taken / yardstick:5.1f} times turnover ({yardstick:.2f} ms)")
    nutrients = calculator("nutrients")
    ahead = _median(lambda: as_json(answer(nutrients, {**nutrients.example, "weeks": 104, "stands": STANDS})))
    print(f"nutrients 104 weeks ahead with {len(STANDS)} stands: {ahead:.1f} ms; bar {AHEAD_BAR_MS} ms")
    year = _median(_simulate_a_year, rounds=10)
    print(f"52 weeks of one system: {year:.1f} ms; bar {YEAR_BAR_MS} ms")
    recipe = calculator("dose-recipe")
    asked: dict[str, Any] = {"volume": NINE_SALTS["volume"], **_wanted(recipe.params)}
    asked["salts"] = [{"compound": name} for name in SALTS]
    nine = _median(lambda: answer(recipe, asked))
    print(f"nine salts: {nine:.1f} ms; bar {RECIPE_BAR_MS} ms")
    held = slowest < ANSWER_BAR_MS and ahead < AHEAD_BAR_MS and year < YEAR_BAR_MS and nine < RECIPE_BAR_MS
    print(f"{len(CALCULATORS)} calculators; " + ("held" if held else "NOT held"))
    return 0 if held else 1


def _wanted(params: Any) -> dict[str, Any]:
    """The wanted values by the recipe's own names of its inputs."""
    return {f"wanted_{name}": value for name, value in NINE_SALTS.items() if f"wanted_{name}" in params}


def _simulate_a_year() -> None:
    source = Pair(0.0009, 0.00007)
    days = [
        Day(
            made=Pair(0.0002, 0.00003),
            dosed=Pair(0.00001, 0.0),
            changes=[Inflow(0.12, source)] if day % 7 == 0 else [],
            drip=Inflow(0.01, source),
            top_off=Inflow(0.006, source),
            uptake=Pair(0.00005, 0.00001),
        )
        for day in range(364)
    ]
    simulate(0.6, Pair(0.004, 0.0004), days)


def _median(do: Callable[[], Any], rounds: int = ROUNDS) -> float:
    taken = []
    for _ in range(rounds + 1):
        begun = time.perf_counter()
        do()
        taken.append((time.perf_counter() - begun) * 1000)
    return statistics.median(taken[1:])


if __name__ == "__main__":
    sys.exit(main())
