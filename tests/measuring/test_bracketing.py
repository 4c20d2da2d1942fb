"""The bracketing: its log, what it makes of the runs, which run it proposes, and how few it needs."""

from dataclasses import replace
from math import sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from symptomtree.measuring.bracketing import TOOLS
from symptomtree.measuring.bracketing import fit as fitting
from symptomtree.measuring.bracketing.bracketing import log_of
from symptomtree.measuring.bracketing.fit import chance_said, difference, fit, next_setting, propose, tell_of
from symptomtree.measuring.bracketing.log import (
    MOST_CLICKS,
    Dial,
    Log,
    Run,
    at_once,
    changed,
    log_text,
    parse_log,
    read_dials,
    read_runs,
)
from symptomtree.measuring.tool import BadInput, work
from tests.bench.bracketing import HORIZON, METHODS, OURS, Rider, golden, reach, share_of_one_click, ways

TOOL = TOOLS["bracketing"]
REBOUND = Dial("rebound", 0, 12, 6)
COMPRESSION = Dial("compression", 0, 8, 4)
NOISE = 0.7


def logged(*runs: str, dials: tuple[Dial, ...] = (REBOUND,)) -> Log:
    return read_runs(Log(dials=dials), runs)


RATED = ("rebound 6 = 6", "rebound 4 = 7", "rebound 2 = 6.5", "rebound 0 = 4.5", "rebound 6 = 5.5")


# The log


def test_dials_and_runs_are_read_as_typed() -> None:
    (dial,) = read_dials(["fork  rebound 0-20 start 8"])
    assert dial == Dial("fork rebound", 0, 20, 8)
    assert read_dials(["low-speed compression 1 to 12"])[0] == Dial("low-speed compression", 1, 12, 7)
    log = logged(
        "1: start = 6,5 +- 0.5",
        "2: Rebound 8, compression 6 = 7",
        "3: compression 4 better than 1",
        "new day",
        "4: rebound 2 same",
        "5: rebound 3",
        dials=(REBOUND, COMPRESSION),
    )
    assert [(r.rating, r.error, r.said, r.than, r.day) for r in log.runs] == [
        (6.5, 0.5, None, 0, 0),
        (7.0, None, None, 0, 0),
        (None, None, "better", 0, 0),
        (None, None, "same", 2, 1),
        (None, None, None, 0, 1),
    ]
    assert log.runs[2].settings == {"rebound": 8, "compression": 4}
    assert log.runs[4].settings == {"rebound": 3, "compression": 4}


@pytest.mark.parametrize(
    ("dials", "message"),
    [
        ("rebound", "write its name and range"),
        ("rebound 5-6", "1 clicks from end to end"),
        ("rebound 12-0", "the lower number first"),
        ("rebound 0-500", f"2 to {MOST_CLICKS} can be"),
        ("rebound 0-20 start 25", "starts at 25, outside 0 to 20"),
        ("rebound 0-20; Rebound 0-10", "there twice"),
        ("dial=2 x 0-20", "cannot be a name"),
        ("start 0-20", "cannot be a name"),
        ("; ".join(f"{chr(97 + n)} 0-9" for n in range(9)), "1 to 8"),
        ("", "dials is missing"),
    ],
)
def test_a_dial_that_cannot_be_is_refused(dials: str, message: str) -> None:
    with pytest.raises(BadInput, match=message) as error:
        work(TOOL, {"dials": dials})
    assert error.value.field == "dials"


@pytest.mark.parametrize(
    ("runs", "message"),
    [
        ("rebound = 6", "no setting"),
        ("pressure 6 = 6", "run 1: there is no dial 'pressure'; there are rebound"),
        ("rebound 13 = 6", "outside its 0 to 12"),
        ("rebound 6 = 11", "rate from 0 to 10"),
        ("rebound 6 = good", "run 1: 'good' is no number.*or 'better'"),
        ("rebound 6 = 5 bar", "run 1:"),
        ("rebound 6 better", "none before it to be compared with"),
        ("rebound 6 = 5; rebound 4 worse than 2", "compared with run 2"),
        ("1: rebound 6 = 5; 3: rebound 4 = 6", "should be run 2"),
        ("1: rebound 6 = 5; rebound 4 = 6", "should be run 2"),
        ("; ".join(["start = 5"] * 201), "more than 200"),
    ],
)
def test_a_run_that_cannot_be_is_refused(runs: str, message: str) -> None:
    with pytest.raises(BadInput, match=message) as error:
        work(TOOL, {"dials": "rebound 0-12", "runs": runs})
    assert error.value.field == "runs"


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("step", "1.5", "whole number"),
        ("step", "0", "outside 1 to 100"),
        ("scatter", "0", "outside 0.1 to 3"),
        ("set-up", "rebound 40", "set-up: rebound 40 is outside"),
        ("other-set-up", "sag 4", "other-set-up: there is no dial 'sag'"),
        ("log", "no-such-file.yaml", "cannot be read"),
        ("other-log", "no-such-file.yaml", "cannot be read"),
    ],
)
def test_other_fields_refuse_what_cannot_be(field: str, value: str, message: str) -> None:
    with pytest.raises(BadInput, match=message) as error:
        work(TOOL, {"dials": "rebound 0-12", "runs": "; ".join(RATED), field: value})
    assert error.value.field == field


LOGS = st.lists(
    st.tuples(
        st.integers(0, 12),
        st.integers(0, 8),
        st.sampled_from(["rated", "better", "worse", "same", "nothing"]),
        st.floats(0, 10),
        st.one_of(st.none(), st.floats(0.1, 2)),
        st.integers(0, 1),
    ),
    max_size=8,
)


def made(rows: list[tuple[int, int, str, float, float | None, int]]) -> Log:
    """Return a log of two dials whose runs may be anything."""
    runs: list[Run] = []
    for one, two, kind, rating, error, days in rows:
        run = Run(settings={"rebound": one, "compression": two}, day=(runs[-1].day if runs else 0) + days)
        if kind == "rated" or not runs:
            run = replace(run, rating=rating, error=error)
        elif kind != "nothing":
            run = replace(run, said=kind, than=len(runs) // 2)
        runs.append(run)
    return Log(dials=(REBOUND, COMPRESSION), runs=tuple(runs), bike="the blue one", trail="läng: #1")


@settings(max_examples=40, deadline=None)
@given(LOGS)
def test_a_log_is_read_as_it_was_written(rows: list[tuple[int, int, str, float, float | None, int]]) -> None:
    log = made(rows)
    assert parse_log(log_text(log)) == log


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=200))
def test_whatever_a_file_holds_it_is_refused_in_a_sentence(text: str) -> None:
    with pytest.raises(BadInput):
        parse_log(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: &x 1\nb: *x", "alias"),
        ("symptomtree-bracketing: !!python/object:os.system 1", "tag"),
        ("a: [[[1]]]", "more than the dials"),
        ("symptomtree-bracketing: 1\nruns: [" + "a, " * 1000 + "]", "more than the dials"),
        ("x" * 200_000, "longer than"),
        ("symptomtree-bracketing: 2", "first line"),
        ("symptomtree-bracketing: 1\ncolour: red", "no 'colour'"),
        ("symptomtree-bracketing: 1\nbike: [a]", "a line of text each"),
        ("symptomtree-bracketing: 1\ndials: rebound 0-20", "lists of lines"),
        ("symptomtree-bracketing: 1", "1 to 8 of them"),
        ("a: 'b", "not readable as YAML in line 1"),
    ],
)
def test_a_file_made_to_hurt_is_refused(text: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        parse_log(text)


def test_a_log_file_goes_on_with_what_is_typed(tmp_path) -> None:
    kept = tmp_path / "blue-trail.yaml"
    kept.write_text(log_text(logged(*RATED[:3])), encoding="utf-8")
    assert log_of((), RATED[3:], str(kept)) == logged(*RATED)
    assert (
        work(TOOL, {"log": str(kept), "runs": "; ".join(RATED[3:])}).values
        == work(TOOL, {"dials": "rebound 0-12", "runs": "; ".join(RATED)}).values
    )
    with pytest.raises(BadInput, match="not those of the log"):
        work(TOOL, {"log": str(kept), "dials": "rebound 0-14"})


# What the runs say


def test_the_evidence_is_that_of_adding_up_over_every_offset() -> None:
    """The probabilities are those of the plain sum over hypotheses, the offset integrated by quadrature."""
    dial = Dial("rebound", 0, 4, 2)
    log = logged("rebound 2 = 6", "rebound 3 = 7 +- 0.4", "rebound 1 = 4.5", dials=(dial,))
    best, liking = fitting.hypotheses(5)
    chances = np.zeros(5)
    offsets = np.linspace(-10, 40, 1001)
    for which in range(len(best)):
        for drift in fitting.DRIFTS[::2]:
            told = np.ones_like(offsets)
            for n, run in enumerate(log.runs):
                mean = offsets + liking[which, run.settings["rebound"]] + drift * n
                told *= norm.pdf(run.rating, mean, run.error or NOISE)
            chances[best[which]] += np.trapezoid(told, offsets) * norm.pdf(drift, 0, fitting.DRIFT)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitting, "DRIFTS", fitting.DRIFTS[::2])
        patch.setattr(fitting, "SCATTERS", fitting.SCATTERS[1:2])
        assert fit(log, dial, NOISE).chances == pytest.approx(chances / chances.sum(), rel=1e-6)


def test_comparisons_follow_thurstone() -> None:
    """Phi(1) = 0.84134 and Phi(0.4) = 0.65542: NIST/SEMATECH e-Handbook of Statistical Methods (2012), 1.3.6.7.1."""
    slip = fitting.SLIP
    better = float(chance_said("better", np.array(1 + fitting.TIE)))
    assert better == pytest.approx(slip / 3 + (1 - slip) * 0.84134, abs=1e-5)
    assert float(chance_said("same", np.array(0.0))) == pytest.approx(
        slip / 3 + (1 - slip) * (2 * 0.65542 - 1), abs=1e-5
    )
    apart = np.linspace(-4, 4, 33)
    every = sum(chance_said(said, apart) for said in ("better", "worse", "same"))
    assert every == pytest.approx(1)
    assert chance_said("better", apart) == pytest.approx(chance_said("worse", -apart))
    assert (np.diff(chance_said("better", apart)) > 0).all()


def test_a_published_curve_is_followed_to_its_top() -> None:
    """2 sin x - x^2/10 has its maximum at x = 1.4276; here x = 0.1 for each click.

    Chapra and Canale, Numerical Methods for Engineers (7th ed. 2015), examples 13.1 (golden section from 0 to 4) and
    13.2 (parabola through 0, 1 and 4).
    """

    class Curve(Rider):
        def rate(self, at: int) -> float:
            return 5 + 2 * sin(at / 10) - (at / 10) ** 2 / 10

    curve = Curve(np.random.default_rng(1), 40, 0.3, 0.0)
    assert abs(METHODS[OURS](curve)[-1] - 14.276) <= 1
    assert abs(golden(curve, 1)[-1] - 14.276) <= 1
    published = logged("rebound 0 = 5", "rebound 10 = 6.583", "rebound 40 = 1.886", dials=(Dial("rebound", 0, 40, 20),))
    low, high = fit(published, published.dials[0], 0.1).interval()
    assert low <= 14.276 <= high


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 12), st.integers(0, 20)), min_size=2, max_size=8),
    st.floats(-3, 3),
    st.integers(1, 30),
)
def test_what_does_not_matter_changes_nothing(ridden: list[tuple[int, int]], lift: float, moved: int) -> None:
    """A milder rider, a dial counted from elsewhere, and one counted from the other end."""
    log = Log(dials=(REBOUND,), runs=tuple(Run(settings={"rebound": at}, rating=r / 2) for at, r in ridden))
    found = fit(log, REBOUND, NOISE)
    milder = replace(log, runs=tuple(replace(r, rating=(r.rating or 0) + lift) for r in log.runs))
    assert fit(milder, REBOUND, NOISE).chances == pytest.approx(found.chances, abs=1e-9)
    dial = Dial("rebound", moved, 12 + moved, 6 + moved)
    elsewhere = Log(
        dials=(dial,), runs=tuple(replace(r, settings={"rebound": r.settings["rebound"] + moved}) for r in log.runs)
    )
    assert fit(elsewhere, dial, NOISE).chances == pytest.approx(found.chances, abs=1e-9)
    turned = replace(log, runs=tuple(replace(r, settings={"rebound": 12 - r.settings["rebound"]}) for r in log.runs))
    assert fit(turned, REBOUND, NOISE).chances == pytest.approx(found.chances[::-1], abs=1e-9)
    assert found.chances.sum() == pytest.approx(1)


def test_more_runs_of_one_kind_make_it_surer() -> None:
    once = fit(logged(*RATED[:4]), REBOUND, NOISE)
    twice = fit(logged(*RATED[:4], *RATED[:4]), REBOUND, NOISE)
    assert twice.near(twice.choice) > once.near(once.choice)
    exact = fit(logged(*(f"{run} +- 0.1" for run in RATED[:4])), REBOUND, NOISE)
    assert exact.near(exact.choice) > once.near(once.choice)


def test_repeats_show_the_drift() -> None:
    ratings = (8, 7.7, 7.5, 7.3, 7, 6.8)
    falling = fit(logged(*(f"start = {rating}" for rating in ratings)), REBOUND, 0.2)
    assert falling.drift[0] < -0.1
    assert falling.drift[1] < fitting.DRIFT
    flat = fit(logged(*["start = 7"] * 6), REBOUND, 0.2)
    assert abs(flat.drift[0]) < 1e-9
    result = work(
        TOOL,
        {
            "dials": "rebound 0-12",
            "runs": "start=8; rebound 5=7.8; start=7.6; rebound 5=7.4; start=7.2; rebound 5=7; start=6.7; start=6.5",
            "scatter": "0.2",
        },
    )
    assert any("Ratings fall" in told for told in result.says)


def test_two_dials_at_once_are_credited_to_neither() -> None:
    dials = (REBOUND, COMPRESSION)
    log = logged("start = 5", "rebound 8, compression 6 = 9", dials=dials)
    assert at_once(log) == [1]
    for dial in dials:
        assert tell_of(log, dial) == []
        before = fit(logged("start", dials=dials), dial, NOISE)
        assert fit(log, dial, NOISE).chances == pytest.approx(before.chances)
    result = work(TOOL, {"dials": "rebound 0-12; compression 0-8", "runs": "start = 5; rebound 8, compression 6 = 9"})
    assert any("before run 2" in told for told in result.says)
    assert result.value("best") is None
    cleared = logged("start = 5", "rebound 8, compression 6 = 9", "compression 4 = 9", dials=dials)
    assert tell_of(cleared, REBOUND) == [0, 2]  # compression stood at 4 in both
    assert tell_of(cleared, COMPRESSION) == [1, 2]


def test_another_day_starts_afresh() -> None:
    """A rider who rates all of the second day lower says nothing against its settings."""
    one = fit(logged("rebound 6 = 8", "rebound 4 = 8", "new day", "rebound 4 = 5", "rebound 2 = 5"), REBOUND, NOISE)
    same = fit(logged("rebound 6 = 8", "rebound 4 = 8", "new day", "rebound 4 = 8", "rebound 2 = 8"), REBOUND, NOISE)
    assert one.chances == pytest.approx(same.chances)


# Which run next


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, 20), min_size=14, max_size=14), st.integers(1, 4))
def test_proposals_keep_to_the_rules(ratings: list[int], step: int) -> None:
    """One dial at a time, within its range, at most `step` clicks; only repeats of what was ridden go further."""
    log = Log(dials=(REBOUND, COMPRESSION))
    repeats = 0
    for rating in ratings:
        proposal = propose(log, NOISE, step)
        where = proposal.settings
        assert all(d.low <= where[d.name] <= d.high for d in log.dials)
        if not log.runs:
            assert where == log.start
        elif proposal.ride:
            last, before = log.runs[-1].settings, log.runs[-2:][0].settings
            if proposal.why == "repeat":
                repeats += 1
                assert any(where == run.settings for run in log.runs)
            else:
                back = last if len(changed(where, last)) == 1 and _moved(where, last) <= step else before
                assert len(changed(where, back)) == 1
                assert _moved(where, back) <= step
        if not proposal.ride:
            break
        log = replace(log, runs=(*log.runs, Run(settings=where, rating=rating / 2)))
    else:
        assert repeats >= 1


@settings(max_examples=25, deadline=None)
@given(LOGS, st.integers(1, 12))
def test_whatever_was_ridden_there_is_a_next_run_or_an_end(
    rows: list[tuple[int, int, str, float, float | None, int]], step: int
) -> None:
    log = made(rows)
    proposal = propose(log, NOISE, step)
    assert all(d.low <= proposal.settings[d.name] <= d.high for d in log.dials)
    for dial in log.dials if log.runs else ():
        found = fit(log, dial, NOISE)
        low, high = found.interval()
        assert found.chances.sum() == pytest.approx(1)
        assert found.chances[low : high + 1].sum() >= 0.9 - 1e-9


def _moved(one, other) -> int:
    return max(abs(one[name] - other[name]) for name in one)


def test_two_dials_are_brought_to_their_best_one_after_the_other() -> None:
    log = Log(dials=(REBOUND, COMPRESSION))
    luck = np.random.default_rng(3)
    for _ in range(HORIZON):
        proposal = propose(log, NOISE, 2)
        if not proposal.ride:
            break
        at = proposal.settings
        rating = 9 - 0.25 * (at["rebound"] - 2) ** 2 - 0.4 * (at["compression"] - 6) ** 2 + luck.normal(0, 0.3)
        log = replace(log, runs=(*log.runs, Run(settings=at, rating=max(0.0, rating))))
    assert proposal.why == "found"
    assert abs(proposal.settings["rebound"] - 2) <= 1
    assert abs(proposal.settings["compression"] - 6) <= 1
    assert not at_once(log)


def test_a_run_is_worth_what_it_takes_off_the_variance() -> None:
    """Beside plain regression on draws: var(best) (1 - r^2), with r the correlation of best and rating."""
    log = logged(*RATED[:2])
    found = fit(log, REBOUND, NOISE)
    target, share = next_setting(found, 4, 12)
    luck = np.random.default_rng(0)
    cells = luck.choice(found.weights.size, 200_000, p=found.weights.ravel())
    which, drift = np.unravel_index(cells, found.weights.shape)
    level = found.level[which, drift] + luck.normal(0, found.level_error, len(cells))
    rated = found.liking[which, target] + level + luck.normal(0, found.noise, len(cells))
    assert share == pytest.approx(np.corrcoef(found.best[which], rated)[0, 1] ** 2, abs=0.01)


def test_a_rider_who_only_compares_is_asked_to_compare() -> None:
    result = work(
        TOOL, {"dials": "rebound 0-12", "runs": "start; rebound 4 better; rebound 2 worse; rebound 3 same as 2"}
    )
    assert "better than run 4" in result.says[0]
    best = result.value("best")
    assert best is not None
    assert best.number in (3, 4)


def test_set_ups_are_compared() -> None:
    log = logged(*RATED, *RATED)
    start = log.start
    lead, error, chance = difference(log, {"rebound": 4}, start, NOISE)
    assert lead > 0
    assert chance > 0.5
    assert difference(log, start, {"rebound": 4}, NOISE) == pytest.approx((-lead, error, 1 - chance))
    assert difference(log, start, start, NOISE) == (0.0, 0.0, 0.5)
    typed = {"dials": "rebound 0-12", "runs": "; ".join(RATED), "set-up": "rebound 4", "other-set-up": "rebound 12"}
    result = work(TOOL, typed)
    assert any("rebound 4 is better than rebound 12" in told for told in result.says)
    value = result.value("lead")
    assert value is not None
    assert 1 < value.number < 10
    dials = (REBOUND, COMPRESSION)
    ridden = ["rebound 2 = 9", "rebound 6 = 5", "compression 7 = 8", "compression 4 = 5"] * 2
    both = difference(
        logged(*ridden, dials=dials),
        {"rebound": 2, "compression": 7},
        dict.fromkeys(("rebound", "compression"), 4),
        NOISE,
    )
    assert both[2] > 0.5
    close = work(TOOL, typed | {"other-set-up": "rebound 3"})
    assert any("too close to call" in told for told in close.says)
    with pytest.raises(BadInput, match="rebound 4 too; name another"):
        work(TOOL, typed | {"other-set-up": "rebound 4"})


def test_two_trails_are_compared(tmp_path) -> None:
    other = tmp_path / "other.yaml"
    ridden = [f"rebound {at} = {9 - abs(at - 10)}" for at in (6, 8, 10, 12, 6, 8, 10, 12)]
    other.write_text(log_text(replace(logged(*ridden), trail="Rocks")), encoding="utf-8")
    typed = {"dials": "rebound 0-12", "runs": "; ".join([*RATED, *RATED]), "other-log": str(other)}
    assert any("10 on Rocks" in told and "chance" not in told for told in work(TOOL, typed).says)
    fewer = work(TOOL, typed | {"dials": "rebound 0-14"})
    assert any("Rocks has no such dial" in told for told in fewer.says)


def test_the_band_holds_what_was_rated() -> None:
    """With exact ratings it is narrow where the dial was ridden, and wide where not; the fit lies inside."""
    found = fit(logged(*(f"rebound {at} = {8 - abs(at - 4) / 2} +- 0.1" for at in (2, 3, 4, 5, 6))), REBOUND, NOISE)
    low, high = found.band()
    mean, _ = found.ratings()
    assert (low <= high).all()
    assert low[4] <= mean[4] <= high[4]
    assert high[4] - low[4] < 0.7
    assert high[12] - low[12] > high[6] - low[6]


def test_what_is_said_of_the_ends() -> None:
    runs = "rebound 6=5; rebound 4=6; rebound 2=7; rebound 0=10; rebound 2=7; rebound 0=9.5; rebound 6=5"
    says = " ".join(work(TOOL, {"dials": "rebound 0-12", "runs": runs}).says)
    assert "the end of the dial" in says
    assert "leaves no room" in says


def test_its_picture_shows_ratings_fit_and_interval() -> None:
    rated = work(TOOL, TOOL.example)
    compared = work(TOOL, {"dials": "rebound 0-12", "runs": "start; rebound 4 better; rebound 2 worse"})
    for result, needed in ((rated, ("* run", "o fit", "90 % between")), (compared, ("chance to be the best",))):
        assert result.picture is not None
        rows = list(result.picture(76, 20))
        assert len(rows) <= 20
        assert all(len(row) <= 76 for row in rows)
        assert all(any(word in row for row in rows) for word in needed)


# How few runs


def test_it_needs_at_most_60_percent_of_the_runs_of_one_click_search() -> None:
    """The small version of `python -m tests.bench.bracketing`: the best one-click search, chosen after the event."""
    methods = {name: m for name, m in METHODS.items() if name == OURS or name.startswith("one click")}
    found = {name: [s for n in (12, 20) for s in ways(m, 8, n, NOISE, -0.05)] for name, m in methods.items()}
    assert share_of_one_click(found) <= 0.6
    assert np.mean([s.clicks for s in found[OURS]]) < 1


def test_reach_counts_what_stays() -> None:
    assert reach([5, 9, 10, 11], 10) == 2
    assert reach([10, 5, 9], 10) == 3
    assert reach([10, 10], 10) == 1
    assert reach([10, 5], 10) == HORIZON
