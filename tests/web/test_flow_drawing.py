"""The drawing of a system in flow: well formed, nothing over anything, words for all that is drawn."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from itertools import combinations, pairwise, product

import pytest
from flow_scenes import (
    BOTH,
    LONG,
    MARKS,
    OVER,
    SCENES,
    UNDER,
    cell,
    large,
    lift,
    long_names,
    looped,
    pool,
    small,
    system_of,
    trough,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.actions.finding import Finding
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.levels import Gate
from weirbook.engine.relations.plumbing import Plumbing, Trough
from weirbook.web.flow_drawing import draw
from weirbook.web.flow_layout import lay_out
from weirbook.web.flow_sheet import Circle, Pipes
from weirbook.web.flow_words import Words

SVG = "{http://www.w3.org/2000/svg}"


def drawn(flow: SystemFlow, findings: Sequence[Finding] = MARKS, units: Mapping[str, str] = {}) -> ET.Element:
    return ET.fromstring(draw(flow, findings, units))


def words_of(root: ET.Element) -> str:
    """All that stands on the sheet, one line after the other."""
    return " ".join(
        "".join(part for part in (text.text, *(one.tail for one in text)) if part) for text in texts(root)
    )


def texts(root: ET.Element) -> Sequence[ET.Element]:
    return list(root.iter(f"{SVG}text"))


def box_of(text: ET.Element) -> tuple[float, float, float, float]:
    """Left, top, right, bottom, at 0.6 em a letter."""
    size, x, y = (float(text.attrib[name]) for name in ("font-size", "x", "y"))
    shown = words_of_one(text)
    return x, y - 0.8 * size, x + 0.6 * size * len(shown), y + 0.22 * size


def words_of_one(text: ET.Element) -> str:
    return (text.text or "") + "".join(one.tail or "" for one in text)


def stretches(root: ET.Element) -> Sequence[tuple[float, float, float, float]]:
    """The straight stretches of pipes: lines of three px and fewer that are drawn with a colour of water's."""
    found = []
    for path in root.iter(f"{SVG}path"):
        if path.attrib.get("stroke") not in {"#0b4f7a", "#2a7fb8", "#8a8a8a"} or "L" not in path.attrib["d"]:
            continue
        points = [
            tuple(map(float, one.split(","))) for one in re.findall(r"[-\d.]+,[-\d.]+", path.attrib["d"])
        ]
        found += [
            (min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])) for a, b in pairwise(points)
        ]
    return found


def meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def check_words(flow: SystemFlow) -> None:
    """No words stand over others, off the sheet, on pumps, or under lines."""
    root = drawn(flow)
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    boxes = [(words_of_one(text), box_of(text)) for text in texts(root)]
    assert [one for one in boxes if one[1][0] < 0 or one[1][2] > width or one[1][3] > height] == []
    assert [(a, b) for a, b in combinations(boxes, 2) if meet(a[1], b[1])] == []
    wide = [(x0 - 1, y0 - 1, x1 + 1, y1 + 1) for x0, y0, x1, y1 in stretches(root)]
    assert [(one, line) for one in boxes for line in wide if meet(one[1], line)] == []
    circles = [one for one in lay_out(Words(flow, MARKS, {})).shapes if isinstance(one, Circle)]
    assert len(circles) == len(flow.plumbing.lifts)
    pumps = [
        (one.x - one.radius, one.y - one.radius, one.x + one.radius, one.y + one.radius) for one in circles
    ]
    assert [(one, pump) for one in boxes for pump in pumps if meet(one[1], pump)] == []


def check_pipes(flow: SystemFlow) -> None:
    """Pipes may cross, and within one pump's or one drain's they join; none runs on in another."""
    runs = [
        [(min(a, b), max(a, b)) for line in pipes.lines for a, b in pairwise(line.points)]
        for pipes in lay_out(Words(flow, MARKS, {})).shapes
        if isinstance(pipes, Pipes)
    ]
    for one, other in combinations(runs, 2):
        for (a, b), (c, d) in product(one, other):
            if a[0] == b[0] and c[0] == d[0] and abs(a[0] - c[0]) < 4:
                assert min(b[1], d[1]) - max(a[1], c[1]) < 4, (a, b, c, d)
            if a[1] == b[1] and c[1] == d[1] and abs(a[1] - c[1]) < 4:
                assert min(b[0], d[0]) - max(a[0], c[0]) < 4, (a, b, c, d)


@pytest.mark.parametrize("scene", SCENES)
def test_nothing_stands_over_words_or_off_the_sheet(scene: str) -> None:
    flow = SCENES[scene]()
    assert len(texts(drawn(flow))) > 20 and len(stretches(drawn(flow))) > 5
    check_words(flow)


@pytest.mark.parametrize("scene", SCENES)
def test_no_pipe_runs_on_in_another(scene: str) -> None:
    check_pipes(SCENES[scene]())


@st.composite
def plumbings(pick: st.DrawFn) -> Plumbing:
    """Tanks, sumps and pumps joined at random, as the record's rules let them be."""
    tanks = [f"t{index}" for index in range(pick(st.integers(0, 4)))]
    sizes = pick(st.lists(st.integers(1, 4), max_size=3))
    sections = [[f"s{row}-{index}" for index in range(size)] for row, size in enumerate(sizes)]
    vessels = [f"tanks/{one}" for one in tanks]
    places = [f"sections/{one}" for row in sections for one in row]
    ends = [*vessels, *places]
    gates = st.sampled_from((OVER, UNDER, BOTH, Gate("open", 0.4), Gate("unknown", 0.4), None))
    troughs = []
    for index, row in enumerate(sections):
        others = [end for end in ends if not end.startswith(f"sections/s{index}-")]
        end = pick(st.sampled_from([None, *others]))
        cells = [cell(one, pick(gates) if one != row[-1] else None) for one in row]
        troughs.append(trough(f"u{index}", *cells, drains_to=end, last=pick(st.sampled_from((0.22, None)))))
    alone = [one.name for one in troughs if one.drains_to is not None]
    pools = tuple(
        pool(one, pick(st.sampled_from([None, *(end for end in ends if end != f"tanks/{one}")])))
        for one in tanks
    )
    lifts = []
    for index in range(pick(st.integers(0, 5)) if ends and (vessels or alone) else 0):
        to = (
            pick(st.lists(st.sampled_from(vessels), min_size=1, max_size=3, unique=True))
            if vessels
            else alone[:1]
        )
        if alone and pick(st.booleans()):
            to = [pick(st.sampled_from(alone))]
        flow = pick(st.sampled_from((None, 0.0, 0.0003)))
        lifts.append(
            lift(f"p{index}", pick(st.sampled_from(ends)), *to, measured=flow, curve=None, rated=None)
        )
    return Plumbing(pools, tuple(troughs), tuple(lifts), 298.15)


@settings(max_examples=80, deadline=None)
@given(plumbing=plumbings())
def test_any_plumbing_is_drawn_clear(plumbing: Plumbing) -> None:
    flow = system_of(plumbing)
    check_words(flow)
    check_pipes(flow)


@pytest.mark.parametrize("scene", SCENES)
def test_no_letters_are_smaller_than_11_px(scene: str) -> None:
    assert min(float(text.attrib["font-size"]) for text in texts(drawn(SCENES[scene]()))) >= 11


@pytest.mark.parametrize("scene", SCENES)
def test_it_needs_nothing_from_elsewhere_and_is_the_same_every_time(scene: str) -> None:
    once, again = (draw(SCENES[scene](), MARKS, {}) for _ in range(2))
    assert once == again
    assert not re.search(r"<script|<style|<image|<use|href|@import|https?://(?!www\.w3\.org/2000/svg)", once)
    assert set(re.findall(r"url\(([^)]*)\)", once)) <= {"#hatch"}


def test_a_screen_reader_is_told_the_whole_along_the_flow() -> None:
    root = drawn(small())
    assert root.attrib["role"] == "img"
    named = root.attrib["aria-labelledby"].split()
    told = {one.attrib["id"]: one.text or "" for one in root if one.tag in (f"{SVG}title", f"{SVG}desc")}
    assert set(named) == set(told)
    told_of = told[named[1]]
    order = (
        "Pump Main from Return to Nursery",
        "Tank Nursery, draining to Settling",
        "Section Settling",
        "Section Return",
    )
    found = [told_of.index(words) for words in order]
    assert found == sorted(found)
    assert "ACT: Water passes at 3 cm/s" in told_of
    assert told_of.index("WATCH: It brings 18 % less than clean") < found[1]  # at the pump that it came from
    assert "to the rim" in told_of and "over the edge" in told_of


def test_flows_and_levels_stand_in_the_units_of_the_room_at_three_digits() -> None:
    flow = small()
    brought = flow.solved.lifted[0].flow
    assert brought is not None
    root = drawn(flow, (), {"flow": "gal/h", "length": "in"})
    gallons = brought * 3600 / 0.003785411784
    said = re.search(r"([\d.]+) gal/h, worked out", words_of(root))
    assert said is not None and float(said.group(1)) == pytest.approx(gallons, rel=5e-3)
    assert len(said.group(1).replace(".", "").strip("0")) <= 3
    depth = flow.solved.brimmed[0].depth / 0.0254
    assert f"water {depth:.3g} in deep" in words_of(root)
    assert "L/h" not in words_of(root) and " cm " not in words_of(root)


def test_limits_passed_are_marked_in_words_at_their_place_and_what_is_well_is_not() -> None:
    said = words_of(drawn(small()))
    assert "ACT: Water passes at" in said and "WATCH: It brings" in said and "WATCH: The water warms" in said
    assert "All well" not in said
    assert "ACT" not in words_of(drawn(small(), ()))


def test_a_limit_that_a_what_if_passes_is_marked_without_a_finding() -> None:
    said = words_of(drawn(large(), ()))
    assert re.search(r"ACT: mean velocity [\d.]+ cm/s, limit 0.01 cm/s", said)


def test_water_above_the_rim_is_marked() -> None:
    low = trough("low", cell("settling", OVER), cell("return", None))
    plumbing = Plumbing(
        (pool("nursery", "sections/settling", rim=0.455),),
        (low,),
        (lift("main", "sections/return", "tanks/nursery", measured=0.001),),
        298.15,
    )
    said = words_of(drawn(system_of(plumbing), ()))
    assert "ACT: water stands above the rim" in said and "above the rim" in said


def test_what_is_unknown_is_dashed_and_says_so() -> None:
    text = draw(looped(), (), {})
    said = words_of(ET.fromstring(text))
    assert "flow unknown: no curve of blind is recorded" in said
    assert "level unknown" in said and "height of its rim unknown" in said
    assert "Not recorded" in said
    assert "stroke-dasharray" in text.split("</desc>")[1]
    known = words_of(drawn(small(), ()))
    assert "unknown" not in known.replace("dashed: unknown", "")


def test_a_pump_that_is_off_says_so_and_one_that_stirs_moves_no_net_flow() -> None:
    said = words_of(drawn(large(), ()))
    assert "Spare off" in said
    assert "Stirrer 0 stirs, moves no net flow" in said


def test_names_are_text_never_markup() -> None:
    flow = small()
    names = {"tanks/nursery": '<b>Fry & "co"</b> \x00\x1b]]>', "system": "A & B < C\ufffe"}
    root = drawn(system_of(flow.plumbing, names=names))
    assert '<b>Fry & "co"</b>' in words_of(root)
    assert "A & B < C" in words_of(root)


def test_a_name_that_is_cut_stands_whole_in_its_title() -> None:
    root = drawn(long_names())
    wholes = [title.text for text in texts(root) for title in text.iter(f"{SVG}title")]
    assert any(whole and whole.startswith(f"by {LONG}") for whole in wholes)


@pytest.mark.parametrize(
    "plumbing",
    [
        Plumbing((), (), (), 298.15),
        Plumbing((pool("only", None),), (), (), 298.15),
        Plumbing(
            (),
            (trough("bare", cell("one", None)), Trough("sumps/empty", None, 0.4, (), None, False, None)),
            (),
            298.15,
        ),
        Plumbing((pool("a", "tanks/b"), pool("b", "tanks/a")), (), (), 298.15),
        Plumbing(
            (pool("a", "sections/gone"),),
            (),
            (lift("lost", "sections/gone", "tanks/gone", measured=0.001),),
            298.15,
        ),
    ],
    ids=["nothing", "a tank", "bare sumps", "a circle", "ends that are gone"],
)
def test_little_or_odd_plumbing_is_drawn_too(plumbing: Plumbing) -> None:
    root = drawn(system_of(plumbing), ())
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    boxes = [box_of(text) for text in texts(root)]
    assert [one for one in boxes if one[2] > width or one[3] > height] == []
    assert [(a, b) for a, b in combinations(boxes, 2) if meet(a, b)] == []
    assert "Rill: water in flow" in words_of(root)
