"""A company's own table of how common causes are: what it changes, what stays, and what is refused in one sentence."""

from pathlib import Path

import pytest

from analysis.diagnosis.causes import CAUSES, LEAST, SHARES, Priors
from collector.analysis_run import analyzed
from collector.opened import open_data
from collector.shares import parsed, shares
from drivers.base import InputError

DEMO = Path(__file__).parents[2] / "replay_data" / "drain_backs_up.csv.gz"


def test_those_counted_share_anew_what_they_had_together_and_the_others_stay() -> None:
    found = parsed("[shares]\nigniter_faulty = 30\nno_call = 10  # of our calls\n", "shares.toml").probabilities()
    usual = Priors().probabilities()
    assert found["igniter_faulty"] == pytest.approx(3 * found["no_call"])
    assert found["igniter_faulty"] + found["no_call"] == pytest.approx(usual["igniter_faulty"] + usual["no_call"])
    assert all(found[cause] == pytest.approx(usual[cause]) for cause in set(CAUSES) - {"igniter_faulty", "no_call"})


def test_a_whole_table_takes_the_place_of_the_program_s() -> None:
    counted = {cause: 1 + place for place, cause in enumerate(CAUSES)}
    text = "[shares]\n" + "\n".join(f"{cause} = {share}" for cause, share in counted.items())
    found = parsed(text, "shares.toml").probabilities()
    total = sum(counted.values())
    assert all(found[cause] == pytest.approx(counted[cause] / total, rel=0.01) for cause in CAUSES if cause != "none")


def test_other_and_a_breach_are_never_ruled_out_by_a_table() -> None:
    found = parsed("[shares]\nother = 0\nheat_exchanger_breach = 0\nno_call = 5\n", "shares.toml").probabilities()
    assert found["other"] >= 0.9 * LEAST
    assert found["heat_exchanger_breach"] > 0


def test_the_file_moves_the_diagnosis_by_its_odds(tmp_path: Path) -> None:
    """Bayes' rule: odds of two causes after the readings move as they do before them."""
    file = tmp_path / "shares.toml"
    file.write_text("[shares]\ndrain_blocked = 1\ninducer_weak = 9\n")
    opened, pair = open_data(DEMO), ("drain_blocked", "inducer_weak")
    usual, moved = (
        {one.cause: one.probability for one in analyzed(opened, priors=priors).diagnosis.causes}
        for priors in (None, shares(file))
    )
    before, after = (found[pair[0]] / found[pair[1]] for found in (usual, moved))
    assert after / before == pytest.approx((1 / 9) / (SHARES[pair[0]] / SHARES[pair[1]]), rel=1e-6)
    assert sum(moved.values()) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "shares.toml has no table [shares]"),
        ("[share]\nno_call = 1", "shares.toml, line 1: unknown key 'share'"),
        ("shares = 3", "shares.toml has no table [shares]"),
        ("[shares]\n\nno_cal = 1\nother = 1", "shares.toml, line 3: unknown cause 'no_cal'; nearest known: no_call"),
        ("[shares]\nno_call = -1\nother = 1", "line 2: the share of 'no_call' is -1; expected a number"),
        ("[shares]\nno_call = nan\nother = 1", "line 2: the share of 'no_call' is nan"),
        ("[shares]\nno_call = inf\nother = 1", "line 2: the share of 'no_call' is inf"),
        ("[shares]\nno_call = true\nother = 1", "line 2: the share of 'no_call' is"),
        ("[shares]\nno_call = 'often'\nother = 1", "line 2: the share of 'no_call' is 'often'"),
        ("[shares]\nno_call = 4", "shares.toml: one cause alone"),
        ("[shares]\nno_call = 0\nother = 0", "shares.toml: shares of causes must be numbers of at least 0"),
        ("[shares]\nno_call = " + "9" * 400 + "\nother = 1", "shares.toml"),
        ("[shares", "shares.toml, line 1: this is not TOML"),
    ],
)
def test_what_cannot_be_is_one_sentence(text: str, why: str) -> None:
    with pytest.raises(InputError) as caught:
        parsed(text, "shares.toml")
    assert str(caught.value).startswith(why) or why in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.toml is not there"):
        shares(tmp_path / "none.toml")


def test_the_example_of_the_document_is_one() -> None:
    text = (Path(__file__).parents[2] / "docs" / "diagnosis.md").read_text(encoding="utf-8")
    example = text.split("```toml\n")[1].split("```")[0]
    assert parsed(example, "shares.toml").shares["igniter_faulty"] > SHARES["igniter_faulty"]
