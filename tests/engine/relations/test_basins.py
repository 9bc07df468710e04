import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.basins import (
    JOINED,
    WALLED,
    at_rest,
    barrier,
    drained,
    drawn,
    held,
    highest_that_holds,
    level_of,
    volume_below,
)
from weirbook.engine.relations.levels import Cell, Gate

MILLILITRE = 1e-6
RIM = 0.4


def over(crest: float) -> Gate:
    return Gate("over", 0.5, crest_height=crest)


UNDER = Gate("under", 0.5, gap_height=0.03)
BOTH = Gate("both", 0.5, crest_height=0.3, gap_height=0.03)
OPEN = Gate("open", 0.5)
UNTOLD = Gate("unknown", 0.5)


def cell(area: float, gate: Gate | None = None, media: float = 0.0, porosity: float = 0.4) -> Cell:
    """A section of so much plan area, 50 cm wide."""
    return Cell("one", "along", area / 0.5, 0.5, media, porosity, None, gate, 0.0)


gates = st.one_of(
    st.floats(0.05, 0.38).map(over),
    st.sampled_from([UNDER, BOTH, OPEN, UNTOLD]),
    st.sampled_from([0.1, 0.2]).map(over),
)
areas = st.floats(0.02, 0.5)


@st.composite
def sumps(draw: st.DrawFn) -> tuple[Cell, ...]:
    rows = draw(
        st.lists(st.tuples(areas, gates, st.floats(0, 0.1), st.floats(0.3, 0.95)), min_size=1, max_size=6)
    )
    return tuple(
        cell(area, gate if index + 1 < len(rows) else None, media, porosity)
        for index, (area, gate, media, porosity) in enumerate(rows)
    )


@st.composite
def filled(draw: st.DrawFn) -> tuple[tuple[Cell, ...], list[float]]:
    cells = draw(sumps())
    volumes = st.floats(0, 0.25)
    return cells, draw(st.lists(volumes, min_size=len(cells), max_size=len(cells)))


untold_gates = st.sampled_from([JOINED, WALLED])


@given(filled(), untold_gates)
def test_water_is_conserved_to_a_millilitre(
    sump: tuple[tuple[Cell, ...], list[float]], untold: float
) -> None:
    cells, volumes = sump
    rest = at_rest(cells, volumes, RIM, untold)
    assert math.fsum(rest.volumes) + rest.spilled == pytest.approx(math.fsum(volumes), abs=MILLILITRE / 1000)
    assert rest.spilled >= 0
    assert max(rest.levels) <= RIM * (1 + 1e-12)


@given(filled(), untold_gates)
def test_at_rest_no_water_stands_above_a_crest_that_it_could_cross(
    sump: tuple[tuple[Cell, ...], list[float]], untold: float
) -> None:
    cells, volumes = sump
    rest = at_rest(cells, volumes, RIM, untold)
    for before, one, after in zip(cells, rest.levels, rest.levels[1:], strict=False):
        crest = barrier(before.gate, untold)
        if max(one, after) > crest + 1e-9:
            assert one == pytest.approx(after, abs=1e-9)


@given(filled(), untold_gates)
def test_water_at_rest_stays_where_it_is(sump: tuple[tuple[Cell, ...], list[float]], untold: float) -> None:
    cells, volumes = sump
    rest = at_rest(cells, volumes, RIM, untold)
    again = at_rest(cells, rest.volumes, RIM, untold)
    assert again.levels == pytest.approx(rest.levels, abs=1e-9)
    assert again.spilled == pytest.approx(0, abs=MILLILITRE / 1000)


@pytest.mark.parametrize("apart", [1e-3, 1e-6, 1e-9, 1e-12, 0.0])
def test_two_crests_that_are_nearly_alike_soon_let_all_water_on(apart: float) -> None:
    """100 L above 0.3 m run over two crests, a hair apart, into the last section of 0.5 m2: 0.2 m there."""
    cells = [cell(0.2, over(0.3)), cell(0.02, over(0.3 - apart)), cell(0.5)]
    rest = at_rest(cells, [0.2 * 0.3 + 0.1, 0.02 * (0.3 - apart), 0.0], RIM)
    assert rest.levels == pytest.approx((0.3, 0.3 - apart, 0.2), abs=1e-9)
    assert rest.spilled == 0


def test_a_section_that_runs_down_does_not_draw_the_one_before_a_higher_crest_with_it() -> None:
    """0.25 m3 each, 0.5 m deep: the first keeps its crest of 0.3125 m, the second 0.25, the rest goes on: 0.21875 m3."""
    cells = [cell(0.5, over(0.3125)), cell(0.5, over(0.25)), cell(2.0)]
    rest = at_rest(cells, [0.25, 0.25, 0.0], RIM + 1)
    assert rest.levels == pytest.approx((0.3125, 0.25, 0.109375))


@given(filled(), untold_gates, st.floats(0, 0.1), st.data())
def test_more_water_never_stands_lower_nor_spills_less(
    sump: tuple[tuple[Cell, ...], list[float]], untold: float, more: float, data: st.DataObject
) -> None:
    cells, volumes = sump
    index = data.draw(st.integers(0, len(cells) - 1))
    less = at_rest(cells, volumes, RIM, untold)
    after = at_rest(cells, [v + more * (i == index) for i, v in enumerate(volumes)], RIM, untold)
    assert after.spilled >= less.spilled - 1e-12
    assert all(now >= then - 1e-9 for now, then in zip(after.levels, less.levels, strict=True))


@given(filled())
def test_a_wall_where_nobody_knows_never_spills_less_than_a_way_through(
    sump: tuple[tuple[Cell, ...], list[float]],
) -> None:
    cells, volumes = sump
    walled, joined = (at_rest(cells, volumes, RIM, untold) for untold in (WALLED, JOINED))
    assert walled.spilled >= joined.spilled - 1e-12


@given(filled())
def test_what_spills_is_what_the_sump_has_no_room_for_if_every_crest_lies_below_the_rim(
    sump: tuple[tuple[Cell, ...], list[float]],
) -> None:
    cells, volumes = sump
    room = math.fsum(volume_below(one, RIM) for one in cells)
    spilled = at_rest(cells, volumes, RIM, JOINED).spilled
    assert spilled == pytest.approx(max(0.0, math.fsum(volumes) - room), abs=1e-12)


@given(
    st.lists(st.tuples(areas, st.floats(0, 0.1), st.floats(0.3, 0.95)), min_size=1, max_size=5),
    st.floats(0, 2),
)
def test_level_and_water_below_it_are_inverses(rows: list[tuple[float, float, float]], level: float) -> None:
    cells = [cell(area, None, media, porosity) for area, media, porosity in rows]
    assert level_of(cells, held(cells, [level] * len(cells))) == pytest.approx(level, abs=1e-12)


def test_media_take_room_up_to_their_bed_and_none_above() -> None:
    bed = cell(0.1, media=0.01, porosity=0.4)
    assert bed.bed_height == pytest.approx(0.1)
    assert volume_below(bed, 0.05) == pytest.approx(0.1 * 0.05 * 0.4)
    assert volume_below(bed, 0.1) == pytest.approx(0.004)
    assert volume_below(bed, 0.3) == pytest.approx(0.004 + 0.02)


def test_water_goes_over_a_crest_either_way_until_both_sides_are_one_level() -> None:
    cells = (cell(0.1, over(0.2)), cell(0.1))
    back = at_rest(cells, [0.0, 0.025], RIM)
    assert back.levels == pytest.approx((0.05, 0.2))
    forth = at_rest(cells, [0.025, 0.0], RIM)
    assert forth.levels == pytest.approx((0.2, 0.05))
    one = at_rest(cells, [0.0, 0.05], RIM)
    assert one.levels == pytest.approx((0.25, 0.25))


def test_below_a_crest_sections_keep_their_own_levels() -> None:
    rest = at_rest((cell(0.1, over(0.2)), cell(0.1)), [0.015, 0.005], RIM)
    assert rest.levels == pytest.approx((0.15, 0.05))


@pytest.mark.parametrize("gate", [UNDER, BOTH, OPEN, None], ids=["under", "both", "open", "nothing"])
def test_through_a_gap_or_without_a_baffle_water_stands_at_one_level(gate: Gate | None) -> None:
    rest = at_rest((cell(0.1, gate), cell(0.3)), [0.04, 0.0], RIM)
    assert rest.levels == pytest.approx((0.1, 0.1))


def test_a_section_between_two_crests_overflows_the_lower_one_first() -> None:
    cells = (cell(0.1, over(0.2)), cell(0.1, over(0.3)), cell(0.1))
    rest = at_rest(cells, [0.0, 0.035, 0.0], RIM)
    assert rest.levels == pytest.approx((0.15, 0.2, 0.0))


def test_over_two_crests_of_one_height_water_goes_down_the_flow_first() -> None:
    cells = (cell(0.1, over(0.2)), cell(0.1, over(0.2)), cell(0.1))
    rest = at_rest(cells, [0.0, 0.03, 0.0], RIM)
    assert rest.levels == pytest.approx((0.0, 0.2, 0.1))


def test_a_wall_up_to_the_rim_lets_one_section_spill_beside_an_empty_one() -> None:
    rest = at_rest((cell(0.1, over(RIM)), cell(0.1)), [0.05, 0.0], RIM)
    assert rest.spilled == pytest.approx(0.01)
    assert rest.levels == pytest.approx((RIM, 0.0))


def test_walls_without_end_show_how_high_the_water_would_stand() -> None:
    rest = at_rest((cell(0.1, over(0.2)), cell(0.1)), [0.05, 0.05], math.inf)
    assert (rest.highest, rest.spilled) == (pytest.approx(0.5), 0)


@given(filled(), untold_gates, st.floats(0, 1))
def test_what_a_pump_draws_comes_from_the_last_section_and_from_above_crests(
    sump: tuple[tuple[Cell, ...], list[float]], untold: float, part: float
) -> None:
    cells, volumes = sump
    rest = at_rest(cells, volumes, RIM, untold)
    taken = part * math.fsum(rest.volumes)
    left = drawn(cells, rest, taken, untold)
    assert held(cells, left.levels) == pytest.approx(
        math.fsum(rest.volumes) - taken + left.missing, abs=MILLILITRE / 1000
    )
    assert left.levels == pytest.approx(drained(cells, rest.levels, left.levels[-1], untold), abs=1e-9)
    if left.missing:
        assert left.levels[-1] == 0


def test_what_stands_below_a_crest_upstream_is_out_of_the_pumps_reach() -> None:
    cells = (cell(0.1, over(0.2)), cell(0.1))
    rest = at_rest(cells, [0.03, 0.03], RIM)
    assert rest.levels == pytest.approx((0.3, 0.3))
    left = drawn(cells, rest, 0.035)
    assert (left.levels, left.missing) == (pytest.approx((0.2, 0.05)), 0)
    short = drawn(cells, rest, 0.045)
    assert short.levels == pytest.approx((0.2, 0.0))
    assert short.missing == pytest.approx(0.005)


@given(st.floats(0, 1))
def test_the_highest_level_that_holds_is_found_on_the_low_side(edge: float) -> None:
    found = highest_that_holds(lambda level: level <= edge, 0.8)
    assert found is not None
    assert found <= edge
    assert found == pytest.approx(min(edge, 0.8), abs=1e-7)


def test_where_no_level_holds_none_is_found() -> None:
    assert highest_that_holds(lambda level: False, 0.8) is None
