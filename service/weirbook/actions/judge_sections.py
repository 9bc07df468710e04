"""Whether water passes the filter sections as the keeper wants it to."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.answer_for import answer_for
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.engine.catalogue import calculator
from weirbook.engine.inputs import six
from weirbook.engine.units import KINDS, Quantity
from weirbook.errors import Invalid
from weirbook.record.places import FLOATING, ROOTED, Section, Sump

JUDGED = (
    ("inlet_verdict", "inlet_velocity", "inlet_velocity", "velocity"),
    ("mean_verdict", "mean_velocity", "mean_velocity", "velocity"),
    ("residence_verdict", "residence_time", "shortest_residence", "time"),
)
"""Verdict, its value, the limit's name in the record, and the kind of both."""
VERDICTS = {"over": Verdict.ACT, "unknown": Verdict.UNKNOWN, "ok": Verdict.OK}


def judge_sections(session: Session, now_ms: int) -> Iterator[Finding]:
    """Findings on every section that has limits or plants."""
    sections: dict[int, list[Section]] = {}
    asked = sa.select(Section).where(Section.retired_at_ms.is_(None)).order_by(Section.position, Section.id)
    for section in session.scalars(asked).unique():
        if section.limits or section.use in (FLOATING, ROOTED):
            sections.setdefault(section.sump_id, []).append(section)
    for sump in session.scalars(sa.select(Sump).where(Sump.id.in_(sections)).order_by(Sump.id)).unique():
        if sump.retired_at_ms is None:
            yield from _judge_sump(session, sump, sections[sump.id], now_ms)


def _judge_sump(session: Session, sump: Sump, sections: list[Section], now_ms: int) -> Iterator[Finding]:
    origin = f"/v1/sumps/{sump.handle}/answers/chamber-flow"
    try:
        answered = answer_for(session, calculator("chamber-flow"), sump, {}, at_ms=now_ms)
    except Invalid as trouble:
        why = trouble.faults[0].message if trouble.faults else trouble.message
        for section in sections:
            yield _finding(sump, section, Verdict.UNKNOWN, why, origin)
        return
    rows = {row["name"]: row for row in answered.values["sections"]}
    for section in sections:
        row = rows[section.handle]
        words = " ".join(filter(None, [row["why"], row["mend"]]))
        yield _finding(sump, section, VERDICTS[row["verdict"]], words, origin, row)


def _finding(
    sump: Sump,
    section: Section,
    verdict: Verdict,
    reason: str,
    origin: str,
    row: Mapping[str, Any] | None = None,
) -> Finding:
    value = limit = None
    for told, name, limited, kind in JUDGED:
        if row is not None and VERDICTS[row[told]] is verdict and row[name] is not None:
            value = _shown(row[name], kind)
            limit = (section.limits or {}).get(limited)
            break
    return Finding(
        verdict, About.SECTION, section.path, sump.system.handle, section.handle, reason, origin, value, limit
    )


def _shown(si: float, kind: str) -> Quantity:
    unit = "min" if kind == "time" else KINDS[kind].default
    shown = Quantity(si, KINDS[kind].si).to(unit, kind)
    return Quantity(six(shown.value), shown.unit)
