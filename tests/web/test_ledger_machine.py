"""Any order of valid calls leaves the heads equal to a model's that only adds and takes away; invalid ones change nothing."""

from __future__ import annotations

from dataclasses import dataclass, field

from fish_scenes import species
from harness import Caller, made
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

TANKS = ("nursery", "long-tank", "low-tank")
BEGIN_DAY = 1
DAYS = st.integers(min_value=1, max_value=20)
FEW = st.integers(min_value=1, max_value=9)
WHICH = st.integers(min_value=0, max_value=len(TANKS) - 1)


@dataclass
class Told:
    """An entry as the model keeps it: a day, its number in the order of telling, and what it does to which group."""

    id: str
    day: int
    order: int
    kind: str
    group: int
    number: int
    to_group: int | None = None


@dataclass
class Model:
    """Heads by walking through the days; a count sets them."""

    told: list[Told] = field(default_factory=list)
    lines: int = 0

    def heads(self) -> list[int] | None:
        """Heads of each group, or None where some day would leave less than nothing."""
        now = [0] * len(TANKS)
        for one in sorted(self.told, key=lambda one: (one.day, one.order)):
            if one.kind == "count":
                now[one.group] = one.number
            elif one.kind in ("arrival", "birth"):
                now[one.group] += one.number
            else:
                now[one.group] -= one.number
                if one.to_group is not None:
                    now[one.to_group] += one.number
            if min(now) < 0:
                return None
        return now


def machine_on(caller: Caller) -> type[RuleBasedStateMachine]:
    class Ledger(RuleBasedStateMachine):
        """Each run has groups of its own in the same room."""

        @initialize()
        def begin(self) -> None:
            self.model = Model()
            self.groups = [
                made(caller, "groups", {"species": "banded-barb", "tank": tank})["id"] for tank in TANKS
            ]

        def tell(self, one: Told, **said: object) -> None:
            self.model.told.append(one)
            possible = self.model.heads() is not None
            answered = caller.post(
                "/v1/stock-entries",
                {
                    "kind": one.kind,
                    "group": self.groups[one.group],
                    "number": one.number,
                    "happened_at": f"2026-10-{one.day:02d}T10:00:00Z",
                    **said,
                },
            )
            if possible:
                assert answered.status_code == 201, answered.get_data(as_text=True)
                one.id = answered.get_json()["id"]
            else:
                assert answered.status_code == 422, answered.get_data(as_text=True)
                self.model.told.remove(one)

        def new(self, kind: str, group: int, number: int, day: int, to_group: int | None = None) -> Told:
            self.model.lines += 1
            return Told("", day, self.model.lines, kind, group, number, to_group)

        @rule(group=WHICH, number=FEW, day=DAYS, kind=st.sampled_from(["arrival", "birth"]))
        def come(self, group: int, number: int, day: int, kind: str) -> None:
            self.tell(self.new(kind, group, number, day))

        @rule(group=WHICH, number=FEW, day=DAYS, kind=st.sampled_from(["missing", "departure"]))
        def go(self, group: int, number: int, day: int, kind: str) -> None:
            self.tell(self.new(kind, group, number, day))

        @rule(group=WHICH, number=FEW, day=DAYS)
        def lose(self, group: int, number: int, day: int) -> None:
            self.tell(self.new("loss", group, number, day), cause="unknown")

        @rule(group=WHICH, by=st.integers(min_value=1, max_value=len(TANKS) - 1), number=FEW, day=DAYS)
        def move(self, group: int, by: int, number: int, day: int) -> None:
            other = (group + by) % len(TANKS)
            self.tell(self.new("move", group, number, day, other), to_group=self.groups[other])

        @rule(group=WHICH, number=st.integers(min_value=0, max_value=20), day=DAYS)
        def count(self, group: int, number: int, day: int) -> None:
            self.tell(self.new("count", group, number, day), words="Counted twice.")

        @rule(place=st.integers(min_value=0, max_value=1_000))
        def withdraw(self, place: int) -> None:
            if not self.model.told:
                return
            one = self.model.told.pop(place % len(self.model.told))
            possible = self.model.heads() is not None
            answered = caller.post(
                "/v1/stock-entries", {"kind": "withdrawal", "withdraws": one.id, "words": "Was wrong."}
            )
            if possible:
                assert answered.status_code == 201, answered.get_data(as_text=True)
            else:
                assert answered.status_code == 422, answered.get_data(as_text=True)
                self.model.told.append(one)

        @invariant()
        def the_heads_are_the_models(self) -> None:
            shown = [
                caller.get(f"/v1/groups/{one}").get_json()["heads"] for one in getattr(self, "groups", [])
            ]
            if shown:
                assert shown == self.model.heads()

    return Ledger


def test_any_order_of_calls_leaves_the_heads_of_a_plain_model(furnished: Caller) -> None:
    species(furnished)
    for name in ("Long tank", "Low tank"):
        tank = {
            "name": name,
            "system": "rill",
            "use": "display",
            "footprint": {"shape": "rectangle", "length": "1 m", "width": "40 cm"},
            "water_depth": "40 cm",
        }
        made(furnished, "tanks", tank)
    run_state_machine_as_test(
        machine_on(furnished),
        settings=settings(
            max_examples=10,
            stateful_step_count=25,
            deadline=None,
            phases=(
                Phase.explicit,
                Phase.generate,
            ),  # what fails says its steps; making them fewer takes minutes
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
        ),
    )
