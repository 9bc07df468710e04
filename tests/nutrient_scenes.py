"""The vat fed 2 g of granules a day, and what is asked of its nutrients. Every figure is worked by hand.

The vat holds 200 L. Of 2 g of granules a day, 46 % protein, 2 x 0.46 x 0.092 = 0.08464 g become nitrogen in the water;
in 200 L that is 0.4232 mg/L of N, and as nitrate (62.004 / 14.007 times as much) 1.87336 mg/L a day.
"""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller
from water_scenes import feed, read, set_up_vat, stock_larder

NITROGEN = 2 * 0.46 * 0.092
"""g a day."""
DAILY = NITROGEN / 200 * 1000 * 62.004 / 14.007
"""mg/L NO3 a day."""
NO3 = 62.004 / 14.007


def begin(keeper: Caller) -> None:
    """The vat, fed 2 g of granules a day, tested at 20 mg/L NO3 on Monday 2 November."""
    set_up_vat(keeper)
    stock_larder(keeper)
    feed(keeper, ("granules", "2 g"))
    read(keeper, "2026-11-02", 20)


def answer(keeper: Caller, query: str = "", system: str = "pond") -> dict[str, Any]:
    answered = keeper.get(f"/v1/systems/{system}/nutrients{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    shown: dict[str, Any] = answered.get_json()
    return shown


def nitrate(keeper: Caller, query: str = "") -> dict[str, Any]:
    found: dict[str, Any] = answer(keeper, query)["nitrate"]
    return found


def ends(balance: dict[str, Any], which: str = "predicted") -> list[float]:
    return [one[which]["value"] for one in balance["weeks"]]


def close(value: float) -> Any:
    return pytest.approx(value, rel=1e-5)
