"""The lines that the demo prints to be pasted into a second terminal."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from urllib.parse import quote

from weirbook.actions.find_due import Due
from weirbook.engine.times import week_text

PICTURE = "01936c5e-8f00-7000-8000-0000000000f1"
KILLIES = "01936c5e-8f00-7000-8000-0000000000e1"
TRIAL = "01936c5e-8f00-7000-8000-0000000000c7"

OSMOSIS_WATER = {
    "volume": "100 L",
    "wanted_alkalinity": "4 dKH",
    "wanted_hardness": "6 dGH",
    "wanted_ratio": 4,
    "salts": [
        {"compound": "potassium_bicarbonate"},
        {"compound": "sodium_bicarbonate"},
        {"compound": "calcium_sulfate_dihydrate"},
        {"compound": "calcium_chloride_dihydrate"},
        {"compound": "magnesium_sulfate_heptahydrate"},
    ],
}
"""Pure water made fit for fish: what to weigh out."""


def curl_lines(secrets: Mapping[str, str], api: str, monday: date, due: Due) -> list[str]:
    """Calls that work when pasted: a temperature in, answers, the week, and one task ticked off from two clients."""
    reading = json.dumps({"gauge": "nursery-temperature", "value": 24.6})
    tick = json.dumps({"occurrence": due.occurrence.name, "by": "tomas"})
    flow = quote("900 gal/h", safe="")
    dose = "parameter=alkalinity&compound=sodium_bicarbonate&wanted=7%20dKH&largest_daily_change=1%20dKH"
    what_if = f"{api}/systems/fern-pool/answers/turnover?flow={flow}&result=turnovers_per_hour&format=text"
    week = f"{api}/summaries/weekly?week={week_text(monday)}&format=csv&key={quote(secrets['link'])}"
    completions = f"{api}/tasks/{due.task.id}/completions"
    return [
        _curl(secrets["sensor"], f"{api}/readings", reading),
        _curl(secrets["viewer"], what_if),
        f"curl -sS '{week}'",
        _curl(secrets["viewer"], f"{api}/sumps/long-trough/answers/chamber-flow"),
        _curl(secrets["viewer"], f"{api}/systems/rill/answers/dose?{dose}"),
        _curl(secrets["viewer"], f"{api}/pumps/stream-pump/answers/flow-fade"),
        _curl(secrets["viewer"], f"{api}/systems/sunny-trough/flow?pump=off"),
        _curl(secrets["viewer"], f"{api}/tanks/fern-pool-display/answers/drain-capacity"),
        f"curl -sS -o fern.jpg '{api}/attachments/{PICTURE}/thumbnail?size=480&key={quote(secrets['link'])}'",
        f"curl -sS -o fern-pool.svg '{api}/systems/fern-pool/flow.svg?key={quote(secrets['link'])}'",
        _curl(secrets["viewer"], f"{api}/systems/sunny-trough/nutrients"),
        _curl(secrets["viewer"], f"{api}/systems/sunny-trough/answers/nutrients"),
        _curl(secrets["viewer"], f"{api}/calculators/dose-recipe/answer", json.dumps(OSMOSIS_WATER)),
        _curl(secrets["viewer"], f"{api}/groups/{KILLIES}/exposure"),
        _curl(secrets["viewer"], f"{api}/systems/killi-shelf/what-changed?days=28"),
        _curl(secrets["viewer"], f"{api}/trials/{TRIAL}/result"),
        _curl(secrets["viewer"], f"{api}/plantings/outcomes"),
        _curl(secrets["viewer"], f"{api}/groups?short=true"),
        _curl(secrets["helper"], f"{api}/alerts?open=true"),
        _curl(secrets["helper"], f"{api}/tasks/due"),
        _curl(secrets["helper"], completions, tick),
        _curl(secrets["keeper"], completions, tick),
    ]


def _curl(secret: str, address: str, body: str | None = None) -> str:
    sent = "" if body is None else f" -H 'Content-Type: application/json' -d '{body}'"
    return f"curl -sS -H 'Authorization: Bearer {secret}'{sent} '{address}'"
