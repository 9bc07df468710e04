"""A nursery with plants in it, for tests of plantings, what became of them and what they take up."""

from __future__ import annotations

from typing import Any

from harness import Caller, made

MOSS = {"name": "Java moss", "growth_form": "attached", "light_need": "low"}


def set_up_kinds(keeper: Caller) -> None:
    made(keeper, "plant-kinds", MOSS)
    made(keeper, "plant-kinds", {"name": "Cress", "growth_form": "emergent"})


def plant(keeper: Caller, on: str = "2026-06-01", kind: str = "java-moss", **said: Any) -> dict[str, Any]:
    """A planting at ten in the morning, without reviews unless they are told."""
    told = {"kind": kind, "place": "tanks/nursery", "method": "on_stone", "review_days": [], **said}
    return made(keeper, "plantings", {"planted_at": f"{on}T10:00:00Z", **told})


def tell(keeper: Caller, planting: dict[str, Any], what: str, on: str, **said: Any) -> dict[str, Any]:
    """An event at ten in the morning."""
    body = {"planting": planting["id"], "kind": what, "happened_at": f"{on}T10:00:00Z", **said}
    return made(keeper, "planting-events", body)


def shown(keeper: Caller, planting: dict[str, Any]) -> dict[str, Any]:
    """How a planting stands."""
    answered: dict[str, Any] = keeper.get(f"/v1/plantings/{planting['id']}").get_json()
    return answered
