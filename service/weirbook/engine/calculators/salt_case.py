"""A change of salt as it comes out: how much, in how many days, and what it does against nitrite."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.salt_inputs import MOST_DAYS, Inputs
from weirbook.engine.relations.chemistry import COMPOUNDS, dose_mass, rise_by
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.salting import (
    CONDUCTIVITY_BY_SALT,
    SALTEST,
    SAME,
    Change,
    chloride_against,
    daily_rises,
    falling,
)
from weirbook.engine.saying import less, more, near

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"
SALT = COMPOUNDS["sodium_chloride"]


@dataclass(frozen=True)
class SaltChange:
    """Everything that follows from what was told."""

    given: Inputs

    @property
    def before(self) -> float:
        return self.given.bath_present if self.given.is_bath else self.given.present

    @cached_property
    def level(self) -> float:
        """Salt in the water when all is done, kg/m3."""
        if self.given.wanted is not None:
            return self.given.wanted
        return self.given.present + (self._salt_rise_for(self.chloride_wanted[0]) or 0.0)

    @cached_property
    def difference(self) -> float:
        """From the salt before to that after; below 0 where it falls."""
        same = math.isclose(self.level, self.before, rel_tol=SAME)
        return 0.0 if same else self.level - self.before

    @property
    def salt(self) -> float:
        """kg to weigh out in all."""
        return max(0.0, self.difference) * self.given.water / self.given.purity

    @cached_property
    def changes(self) -> Sequence[Change]:
        """The water changes of a fall, one a day."""
        given = self.given
        if self.difference >= 0:
            return ()
        return falling(
            given.present,
            self.level,
            given.source_salt,
            given.change_share,
            given.largest_daily_change,
            MOST_DAYS,
        )

    @property
    def days(self) -> int:
        if self.difference <= 0:
            return len(self.changes)
        if self.given.is_bath:
            return 1
        return daily_rises(self.difference, self.given.largest_daily_change, MOST_DAYS)

    @property
    def salt_a_day(self) -> float:
        return self.salt / self.days if self.days else 0.0

    @property
    def changed_water(self) -> float:
        return math.fsum(change.share for change in self.changes) * self.given.water

    def levels(self) -> list[float]:
        """After each day."""
        if self.changes:
            return [change.level for change in self.changes]
        return [self.before + self.difference * day / self.days for day in range(1, self.days + 1)]

    def of_ion(self, ion: str, salt: float) -> float:
        """The mass of an ion in a mass of salt, each in a volume."""
        return rise_by(SALT, ion, salt, 1.0)

    @property
    def conductivity(self) -> tuple[float, float] | None:
        """Least and most by which conductivity changes, S/m; None where the water is saltier than that is known for."""
        if max(self.level, self.before) > SALTEST:
            return None
        low, high = (self.difference * slope for slope in CONDUCTIVITY_BY_SALT)
        return (low, high) if self.difference >= 0 else (high, low)

    @property
    def chloride_now(self) -> float:
        """In the system, as told, or that of the salt in it."""
        told = self.given.chloride
        return self.of_ion("chloride", self.given.present) if told is None else told

    @property
    def chloride_after(self) -> float | None:
        """In the system when all is done; None of a bath, which leaves the system as it is."""
        if self.given.is_bath:
            return None
        return max(0.0, self.chloride_now + self.of_ion("chloride", self.difference))

    @property
    def chloride_wanted(self) -> tuple[float | None, float | None]:
        """Against nitrite as NO2, and as nitrogen; None without nitrite, and of a bath."""
        if self.given.nitrite is None or self.given.is_bath:
            return None, None
        return chloride_against(self.given.nitrite, self.given.chloride_ratio)

    def lacking(self, wanted: float | None) -> float | None:
        """Chloride that the system lacks now for so much."""
        return None if wanted is None else max(0.0, wanted - self.chloride_now)

    def _salt_rise_for(self, wanted: float | None) -> float | None:
        lacking = self.lacking(wanted)
        return None if lacking is None else dose_mass(SALT, "chloride", lacking, 1.0)

    def salt_for(self, chloride: float | None) -> float | None:
        """kg to weigh out for the system to hold so much chloride; None where none is wanted or it's a bath."""
        rise = self._salt_rise_for(chloride)
        if rise is None or self.given.is_bath:
            return None
        return rise * self.given.water / self.given.purity

    @property
    def insurance(self) -> float | None:
        return self.salt_for(LIMITS["insurance_chloride"].value)

    @property
    def verdict(self) -> str:
        """On chloride against nitrite when all is done."""
        (as_no2, as_n), after = self.chloride_wanted, self.chloride_after
        if after is None or as_no2 is None or as_n is None:
            return UNKNOWN
        if after >= as_no2 * (1 - SAME):
            return OK
        return WATCH if after >= as_n * (1 - SAME) else OVER

    @property
    def why(self) -> str:
        (as_no2, as_n), after = self.chloride_wanted, self.chloride_after
        if self.given.is_bath:
            return "A bath changes nothing in the system, and does nothing against nitrite there."
        if after is None or as_no2 is None or as_n is None:
            return "No nitrite was told: whether chloride is enough against it can't be judged."
        ratio = near(self.given.chloride_ratio, "number", "1").removesuffix(" 1")
        held = f"Afterwards the water holds {less(after, 'concentration', 'mg/L')} of chloride; {ratio} times the nitrite"
        no2, nitrogen = more(as_no2, "concentration", "mg/L"), more(as_n, "concentration", "mg/L")
        if self.verdict == OK:
            return f"{held} are {no2} counted as NO2, the safer reading: enough."
        if self.verdict == WATCH:
            return f"{held} are {nitrogen} counted as nitrogen, but {no2} counted as NO2, the safer reading: too little."
        return f"{held} are {nitrogen} counted as nitrogen and {no2} as NO2: too little by either."
