"""A finding on a system's water, at its place."""

from __future__ import annotations

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.inputs import six
from weirbook.engine.units import Quantity


def of_water(
    facts: SystemFacts,
    verdict: Verdict,
    about: About,
    subject: str,
    reason: str,
    origin: str,
    value: Quantity | None = None,
    limit: Quantity | None = None,
    since_ms: int | None = None,
) -> Finding:
    """One finding on the whole system; its subject is a parameter, a section or a record."""
    handle = facts.system.handle
    return Finding(
        verdict,
        about,
        f"systems/{handle}",
        handle,
        subject,
        reason,
        origin,
        _at_six_figures(value),
        _at_six_figures(limit),
        since_ms,
    )


def _at_six_figures(one: Quantity | None) -> Quantity | None:
    return None if one is None else Quantity(six(one.value), one.unit)
