"""The API on one screen: every noun family, and the document that describes them."""

from __future__ import annotations

from flask import Flask
from flask_smorest import Api, Blueprint

import weirbook
from weirbook.web import (
    alerts,
    attachments,
    calculators,
    catalogue,
    change_shapes,
    changes,
    doses,
    exclusions,
    excursion_shapes,
    excursions,
    experience,
    exposure,
    exposure_shapes,
    feeding_responses,
    feeds,
    finding_shapes,
    findings,
    fish,
    flow,
    flow_shapes,
    import_shapes,
    imports,
    journal,
    keys,
    latest,
    living_shapes,
    loss_shapes,
    losses,
    maturity,
    maturity_shapes,
    nutrient_shapes,
    nutrients,
    outcome_shapes,
    plants,
    quarantines,
    readings,
    room,
    search,
    search_shapes,
    series,
    stock,
    summaries,
    task_shapes,
    tasks,
    timeline,
    timeline_shapes,
    trial_result_shapes,
    trial_results,
    trials,
    waters,
    what_changed,
    what_changed_shapes,
)
from weirbook.web.documents import OurPlugin, describe_components, schema_name
from weirbook.web.equipment import GAUGES, PARAMETERS, PUMPS, TARGETS
from weirbook.web.places import SUMPS, SYSTEMS, TANKS
from weirbook.web.sections import SECTIONS
from weirbook.web.shapes import SHARED
from weirbook.web.verbs import blueprint

RESOURCES = (
    SYSTEMS,
    TANKS,
    SUMPS,
    SECTIONS,
    PUMPS,
    GAUGES,
    TARGETS,
    PARAMETERS,
    journal.JOURNAL,
    attachments.ATTACHMENTS,
    exclusions.EXCLUSIONS,
    exclusions.CORRECTIONS,
    tasks.HELPERS,
    tasks.TASKS,
    alerts.ALERTS,
    feeds.FEEDS,
    feeds.RATIONS,
    feeds.FEEDINGS,
    waters.SOURCE_WATERS,
    waters.WATER_REPORTS,
    waters.PREPARATIONS,
    waters.STANDING_EXCHANGES,
    waters.WATER_CHANGES,
    doses.PRODUCTS,
    doses.DOSES,
    fish.SPECIES,
    fish.GROUPS,
    stock.STOCK_ENTRIES,
    fish.SAMPLES,
    feeding_responses.FEEDING_RESPONSES,
    quarantines.QUARANTINES,
    quarantines.TRANSFERS,
    plants.PLANT_KINDS,
    plants.PLANTINGS,
    plants.PLANTING_EVENTS,
    trials.TRIALS,
)

INTRODUCTION = """One husbandry record and calculation service for a room with many freshwater tanks.

* **Keys**: every call carries `Authorization: Bearer KEY`. Roles: keeper (all), helper (marks tasks done, journal,
  feedings, water changes, doses, fish, plants, photos, readings by hand, reads), sensor (posts to its listed gauges),
  viewer (reads).
* **Quantities** are `{"value": 72, "unit": "in"}` or `"72 in"`; unit names are exact and listed at `/v1/units`.
* **Places** are written as their path: `room`, `systems/rill`, `tanks/nursery`, `sumps/rack`, `sections/rack-return-1`.
* **Instants** are RFC 3339 with an offset; weeks are ISO weeks of the room's time zone.
* **Clock times** of tasks (`2026-11-29T10:00`) are the room's, without an offset.
* **Nutrients** keep their forms: `mg/L NO3` and `mg/L N` (as nitrogen) are both units of nitrate, and never mixed up.
* **Errors** are RFC 9457 problem documents; `errors` names each bad value by a JSON pointer. A bad request changes nothing.
* **Edits** are merge-patches under `If-Match` (the ETag of what you read). **Retries** are safe: readings by gauge and
  instant, records with ids of your own by PUT, other POSTs with an `Idempotency-Key`.
* **Fish** are counted by a ledger of stock entries, appended and never edited; a wrong one is withdrawn by another.
* **Bodies** may come packed, with `Content-Encoding: gzip`; readings also as lines, any number of them (`application/x-ndjson`).
"""


class OurApi(Api):  # type: ignore[misc]
    """Without flask-smorest's own error shape and paging, which are not ours."""

    DEFAULT_ERROR_RESPONSE_NAME = None

    def _register_error_handlers(self) -> None:
        """create_app registers ours."""

    def _register_responses(self) -> None:
        """Operations document their refusals one by one."""

    def _register_pagination_header(self) -> None:
        """Pages are told in the body."""


def _readings() -> Blueprint:
    blp = readings.blueprint()
    series.add_routes(blp)
    latest.add_routes(blp)
    return blp


def describe(app: Flask) -> Api:
    """Register every route and its documentation."""
    app.config.update(
        API_TITLE="Weirbook",
        API_VERSION=weirbook.__version__,
        OPENAPI_VERSION="3.1.0",
        API_SPEC_OPTIONS={"info": {"description": INTRODUCTION}},
    )
    api = OurApi(app, spec_kwargs={"marshmallow_plugin": OurPlugin(schema_name_resolver=schema_name)})
    api.spec.components.security_scheme("key", {"type": "http", "scheme": "bearer"})
    for blp in (
        room.blueprint(),
        *(blueprint(resource) for resource in RESOURCES),
        keys.blueprint(),
        catalogue.blueprint(),
        _readings(),
        imports.blueprint(),
        summaries.blueprint(),
        findings.blueprint(),
        flow.blueprint(),
        nutrients.blueprint(),
        timeline.blueprint(),
        what_changed.blueprint(),
        maturity.blueprint(),
        excursions.blueprint(),
        trial_results.blueprint(),
        exposure.blueprint(),
        experience.blueprint(),
        losses.blueprint(),
        changes.blueprint(),
        search.blueprint(),
        calculators.blueprint(),
    ):
        api.register_blueprint(blp)
    describe_components(
        api.spec,
        {
            **SHARED,
            **living_shapes.SHAPES,
            **feeding_responses.SHAPES,
            **task_shapes.SHAPES,
            **finding_shapes.SHAPES,
            **flow_shapes.SHAPES,
            **nutrient_shapes.SHAPES,
            **timeline_shapes.SHAPES,
            **what_changed_shapes.SHAPES,
            **maturity_shapes.SHAPES,
            **trial_result_shapes.SHAPES,
            **outcome_shapes.SHAPES,
            **change_shapes.SHAPES,
            **excursion_shapes.SHAPES,
            **exposure_shapes.SHAPES,
            **experience.SHAPES,
            **loss_shapes.SHAPES,
            **search_shapes.SHAPES,
            **import_shapes.SHAPES,
        },
    )
    app.extensions["weirbook_api"] = api
    app.extensions["weirbook_unedited"] = {one.plural: one.unedited for one in RESOURCES if one.unedited}
    return api
