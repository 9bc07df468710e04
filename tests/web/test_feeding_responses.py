"""How each group takes each food."""

from __future__ import annotations

import csv
import io

from fish_scenes import DAY, group, species
from harness import Caller, made, on_both_engines


@on_both_engines
def test_scores_are_summed_by_group_and_food_the_best_taken_first(furnished: Caller) -> None:
    species(furnished)
    made(furnished, "species", {"name": "Spotted goby"})
    shoal = group(furnished)
    gobies = made(furnished, "groups", {"species": "spotted-goby", "tank": "nursery"})["id"]
    made(furnished, "feeds", {"name": "Flakes", "protein": "42 %"})
    made(furnished, "feeds", {"name": "Daphnia"})
    for of, feed, response, day in (
        (shoal, "flakes", 5, 3),
        (shoal, "flakes", 8, 1),
        (shoal, "daphnia", 9, 2),
        (gobies, "daphnia", 10, 2),
    ):
        body = {"group": of, "feed": feed, "response": response, "seen_at": DAY.format(day)}
        made(furnished, "feeding-responses", body)
    rows = furnished.get("/v1/feeding-responses/by-feed").get_json()["items"]
    assert [(one["called"], one["feed"], one["count"], one["mean"], one["last"]) for one in rows] == [
        ("Banded barb in nursery", "daphnia", 1, 9, 9),
        ("Banded barb in nursery", "flakes", 2, 6.5, 5),
        ("Spotted goby in nursery", "daphnia", 1, 10, 10),
    ]
    assert (rows[1]["protein"], rows[0]["protein"]) == ({"value": 42, "unit": "%"}, None)
    assert (rows[1]["lowest"], rows[1]["highest"], rows[1]["last_at"]) == (5, 8, DAY.format(3))
    only = furnished.get("/v1/feeding-responses/by-feed?species=spotted-goby").get_json()["items"]
    assert [one["group"] for one in only] == [gobies]
    table = furnished.get("/v1/feeding-responses/by-feed?format=csv").get_data(as_text=True)
    assert [row["protein"] for row in csv.DictReader(io.StringIO(table))] == ["", "42", ""]
    assert furnished.get("/v1/feeding-responses/by-feed?species=none").status_code == 404
