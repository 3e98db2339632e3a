"""Which styles a search text finds, and in what order."""

import pytest
from listed import entry, listed

from ripieno.dashboard.finding import density_word, found, styles_from
from ripieno.errors import AuthorError

STYLES = (
    listed("waltz", meters=["3/4", "3/8"], density=7.0, use="Dances in three."),
    listed("left-walk", hands="left", density=4.0, suits=["learner"]),
    listed("ripples", density=20.0, use="Songs in which the left hand may rest."),
    listed("slow-air", use="A waltz that is played slowly.", meters=["3/4", "13/8"]),
    listed("broken", name="broken", faults=["broken.yaml:1:1: no"], density=0.0),
)


def ids(text: str) -> list[str]:
    return [style.id for style in found(STYLES, text)]


def test_no_text_finds_all_in_their_order() -> None:
    assert ids("  ") == [style.id for style in STYLES]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("WALK", {"left-walk"}),
        ("learner", {"left-walk"}),
        ("dances", {"waltz"}),
        ("in 3/4", {"waltz", "slow-air"}),
        ("3/8", {"waltz"}),
        ("3/", {"waltz", "slow-air"}),
        ("13/8", {"slow-air"}),
        ("left hand", {"left-walk"}),
        ("both hands", {"waltz", "ripples", "slow-air"}),
        ("right hand", set()),
        ("calm", {"waltz", "left-walk"}),
        ("sparse", {"waltz", "left-walk"}),
        ("busy", {"ripples"}),
        ("dense", {"ripples"}),
        ("both hands calm", {"waltz"}),
        ("calm, in 3/4", {"waltz"}),
        ("calm zither", set()),
        ("in which", {"ripples"}),
    ],
)
def test_every_word_must_match(text: str, expected: set[str]) -> None:
    assert set(ids(text)) == expected


def test_a_name_comes_before_a_use() -> None:
    backwards = found(reversed(STYLES), "waltz")
    assert [style.id for style in backwards] == ["waltz", "slow-air"]


def test_a_text_that_is_still_being_typed_keeps_what_it_will_find() -> None:
    for end in range(1, len("left hand") + 1):
        assert "left-walk" in ids("left hand"[:end])


def test_a_style_with_faults_is_found_by_its_name_alone() -> None:
    assert ids("broken") == ["broken"]
    assert "broken" not in ids("both hands")
    assert "broken" not in ids("calm")


@pytest.mark.parametrize(
    ("density", "word"),
    [(None, "unknown"), (8.0, "calm"), (8.1, "moderate"), (15.9, "moderate"), (16.0, "busy")],
)
def test_density_is_a_word(density: float | None, word: str) -> None:
    assert density_word(density) == word


@pytest.mark.parametrize(
    "answer",
    [
        {},
        {"styles": {}},
        {"styles": ["waltz"]},
        {"styles": [entry("waltz") | {"name": None}]},
        {"styles": [entry("waltz") | {"suits": "gig"}]},
        {"styles": [{"id": "waltz"}]},
    ],
)
def test_an_answer_of_another_form_is_refused_in_one_line(answer: dict[str, object]) -> None:
    with pytest.raises(AuthorError) as refused:
        styles_from(answer)
    assert "version" in str(refused.value)
    assert "\n" not in str(refused.value)
