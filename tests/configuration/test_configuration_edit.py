"""Controls learned and forgotten in a text that somebody wrote by hand."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ripieno.configuration.edit import with_control, without_control
from ripieno.configuration.load import MAX_BYTES, configuration_from
from ripieno.configuration.model import MOST_CONTROLS, Control
from ripieno.errors import AuthorError
from ripieno.perform.press import Press, PressKind, press_named

HERE = Path("config.yaml")


def control(press: str, *do: str) -> Control:
    return Control(press_named(press), do)


TAP = control("controller 64 on channel 1", "tap")
NEXT = control("note 21 on channel 2", "next")


def controls(text: str) -> tuple[Control, ...]:
    return configuration_from(HERE, text).controls


# Each row: a text, and the same after TAP was learned.
LEARNED = [
    ("tempo: 90\n", "tempo: 90\ncontrols:\n  - press: controller 64 on channel 1\n    do: tap\n"),
    ("tempo: 90", "tempo: 90\ncontrols:\n  - press: controller 64 on channel 1\n    do: tap\n"),
    (
        "tempo: 90\r\n# end",
        "tempo: 90\r\n# end\r\ncontrols:\r\n  - press: controller 64 on channel 1\r\n"
        "    do: tap\r\n",
    ),
    (
        "controls: []  # none yet\nseed: 2",
        "controls:  # none yet\n  - press: controller 64 on channel 1\n    do: tap\nseed: 2",
    ),
    (
        "controls:\n  # my pedals\nseed: 2\n",
        "controls:\n  - press: controller 64 on channel 1\n    do: tap\n  # my pedals\nseed: 2\n",
    ),
    (
        "controls: null",
        "controls:\n  - press: controller 64 on channel 1\n    do: tap\n",
    ),
    (
        "controls:\n- do: next  # first\n  press: note 21 on channel 2 # key\n# end\n",
        "controls:\n- do: next  # first\n  press: note 21 on channel 2 # key\n"
        "- press: controller 64 on channel 1\n  do: tap\n# end\n",
    ),
    (
        "controls: [\n  {press: note 21 on channel 2, do: next},  # a\n]\n",
        "controls: [\n  {press: note 21 on channel 2, do: next}, "
        "{press: controller 64 on channel 1, do: tap},  # a\n]\n",
    ),
    ("{}\n", "{controls: [{press: controller 64 on channel 1, do: tap}], }\n"),
    (
        "{ tempo: 90, controls: [] }",
        "{ tempo: 90, controls: [{press: controller 64 on channel 1, do: tap}] }",
    ),
    (
        "---\ntempo: 90\n...\n",
        "---\ntempo: 90\ncontrols:\n  - press: controller 64 on channel 1\n    do: tap\n...\n",
    ),
    (
        "  tempo: 90\n  seed: 1\n",
        "  tempo: 90\n  seed: 1\n  controls:\n    - press: controller 64 on channel 1\n"
        "      do: tap\n",
    ),
    (
        '"controls" : [ ] \nseed: 1\n',
        '"controls" : \n  - press: controller 64 on channel 1\n    do: tap\nseed: 1\n',
    ),
]


@pytest.mark.parametrize(("text", "learned"), LEARNED)
def test_a_control_comes_after_the_last_in_the_way_the_others_are_written(
    text: str, learned: str
) -> None:
    assert with_control(text, TAP) == learned
    assert controls(learned) == (*controls(text), TAP)
    assert with_control("\ufeff" + text, TAP) == "\ufeff" + learned


@pytest.mark.parametrize(("text", "learned"), LEARNED)
def test_a_control_that_is_there_already_changes_nothing(text: str, learned: str) -> None:
    assert with_control(learned, TAP) == learned
    assert without_control(text, TAP.do) == text


# Each row: a text, and the same after the press of TAP has been given `style 'my waltz'`.
BOUND_ANEW = [
    (
        "controls:\n  - do: 'key Em' # minor\n    press: controller 64  on channel 1\n",
        "controls:\n  - do: \"style 'my waltz'\" # minor\n    press: controller 64  on channel 1\n",
    ),
    (
        "controls: [{press: controller 64 on channel 1, do: tap}, "
        "{press: note 1 on channel 1, do: tap}]",
        "controls: [{press: controller 64 on channel 1, do: \"style 'my waltz'\"}, "
        "{press: note 1 on channel 1, do: tap}]",
    ),
    (
        "controls:\n  - press: controller 64 on channel 1\n    do: >-\n      tempo\n      +2\n"
        "seed: 1",
        "controls:\n  - press: controller 64 on channel 1\n    do: \"style 'my waltz'\"\nseed: 1",
    ),
]


@pytest.mark.parametrize(("text", "anew"), BOUND_ANEW)
def test_a_press_that_is_bound_anew_gets_the_other_command_in_its_place(
    text: str, anew: str
) -> None:
    bound = Control(TAP.press, ("style", "my waltz"))
    assert with_control(text, bound) == anew
    assert controls(anew) == (bound, *controls(text)[1:])


# Each row: a text, and the same after `next` was forgotten.
FORGOTTEN = [
    (
        "controls:\n  # a\n  - press: note 1 on channel 1 # b\n    do: next # c\n  # d\nseed: 1\n",
        "controls: []\n  # a\n  # d\nseed: 1\n",
    ),
    (
        "controls:\n- press: note 1 on channel 1\n  do: next\n- press: note 2 on channel 1\n"
        "  do: tap\n- {press: note 3 on channel 1, do: next}",
        "controls:\n- press: note 2 on channel 1\n  do: tap\n",
    ),
    (
        "controls:\r\n  - press: note 1 on channel 1\r\n    do: tap\r\n\r\n  # x\r\n  -\r\n"
        "    do: next\r\n    press: note 2 on channel 1\r\n",
        "controls:\r\n  - press: note 1 on channel 1\r\n    do: tap\r\n\r\n  # x\r\n",
    ),
    ("controls: [{press: note 1 on channel 1, do: next}] # x", "controls: [] # x"),
    (
        "controls: [{press: note 1 on channel 1, do: next},\n"
        "  {press: note 2 on channel 1, do: tap},\n  {press: note 3 on channel 1, do: next}]\n",
        "controls: [{press: note 2 on channel 1, do: tap}]\n",
    ),
]


@pytest.mark.parametrize(("text", "left"), FORGOTTEN)
def test_all_controls_of_a_forgotten_command_go_with_their_lines(text: str, left: str) -> None:
    assert without_control(text, ("next",)) == left
    assert controls(left) == tuple(c for c in controls(text) if c.do != ("next",))


def test_a_command_is_forgotten_however_it_was_written() -> None:
    text = "controls:\n  - press: note 1 on channel 1\n    do: key   Em\n"
    assert without_control(text, ("key", "E", "minor")) == "controls: []\n"


UNREADABLE = [
    ("controls: [\n", "no valid YAML"),
    ("", "the file is empty"),
    ("- tempo: 90\n", "is no mapping"),
    ("controls: 5\n", "'controls' is no list"),
    ("controls: [tap]\n", "control 1 lacks a press or a do"),
    ("controls: [{press: note 1 on channel 1, do: nxt}]", "there is no command 'nxt'"),
    ("controls: []\ncontrols: []\n", "'controls' stands here again"),
    ("seed: &a 1\n", "found the anchor"),
    ("seed: \x00\n", "U+0000"),
    ("? controls\n: []\n", "written in an unusual way"),
    ("input: |\n  keys", "written in an unusual way"),  # a line more would end it in a break
]


@pytest.mark.parametrize(("text", "told"), UNREADABLE)
def test_a_text_that_cannot_be_changed_is_told_in_one_line_and_left(text: str, told: str) -> None:
    with pytest.raises(AuthorError, match=re.escape(told)) as refused:
        with_control(text, TAP)
    assert "\n" not in str(refused.value)


def test_a_fault_elsewhere_does_not_keep_a_control_from_being_learned() -> None:
    text = "tempo: 900\nsplit: .nan\nspam: {x: [1]}\n"
    assert with_control(text, TAP).startswith(text)


def test_no_more_controls_are_learned_than_a_file_may_have() -> None:
    presses = [Press(PressKind.NOTE, i % 128, i // 128) for i in range(MOST_CONTROLS)]
    lines = "".join(f"  - press: {press}\n    do: tap\n" for press in presses)
    full = "controls:\n" + lines
    assert len(controls(full)) == MOST_CONTROLS
    with pytest.raises(AuthorError, match="256 controls already; forget one"):
        with_control(full, TAP)
    bound = Control(presses[3], ("next",))
    assert controls(with_control(full, bound))[3] == bound


def test_a_file_does_not_grow_beyond_what_can_be_read() -> None:
    text = "seed: 1\n"
    text += "#" * (MAX_BYTES - len(text) - 1) + "\n"
    with pytest.raises(AuthorError, match="more than 64 KiB"):
        with_control(text, TAP)


# ---- whatever somebody wrote ----------------------------------------------------------------

_presses = st.builds(Press, st.sampled_from(PressKind), st.integers(0, 119), st.integers(0, 15))
_commands = st.sampled_from(
    [
        ("next",),
        ("tap",),
        ("tempo",),
        ("tempo", "-2.5"),
        ("tempo", "+1"),
        ("hold", "off"),
        ("key", "F#", "minor"),
        ("split", "none"),
        ("style", "waltz"),
        ("style", "my waltz"),
        ("style", "it's: #1, \"mine\" {é}"),
        ("style", "\\"),
    ]
)  # fmt: skip
_controls = st.builds(Control, _presses, _commands)
_remarks = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=9)
_OTHER = ["tempo: 90", "key: E minor", "input: 'a: #b'", "journals:\n  most: 5", "seed:    2",
          "output: >-\n  a\n  long name", "journals: {\n  most: 5 }", "hold: false   "]  # fmt: skip


@dataclass(frozen=True)
class Written:
    """A text in its parts: what stands before the key `controls`, that key's lines, the rest."""

    head: str
    part: str
    tail: str
    listed: tuple[Control, ...]
    remarks: tuple[str, ...]  # of the part, each unlike the others

    @property
    def text(self) -> str:
        return self.head + self.part + self.tail


@st.composite
def _written(draw: st.DrawFn) -> Written:
    ends = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    others = draw(st.lists(st.sampled_from(_OTHER), unique_by=lambda line: line.split(":")[0]))
    cut = draw(st.integers(0, len(others)))
    head, tail = (_lines(draw, some) for some in (others[:cut], others[cut:]))
    listed = draw(st.lists(_controls, max_size=5, unique_by=lambda c: c.press))
    part, remarks = _part(draw, listed) if listed or draw(st.booleans()) else ([], [])
    bom = draw(st.sampled_from(["", "\ufeff"]))
    if not (others or part):
        head.append("seed: 1")
    head, part, tail = ("".join(f"{line}\n" for line in some) for some in (head, part, tail))
    whole = [some.replace("\n", ends) for some in (bom + head, part, tail)]
    if draw(st.booleans()):  # the last line need not be ended
        last = max(i for i in range(3) if whole[i])
        whole[last] = whole[last].removesuffix(ends)
    return Written(*whole, tuple(listed), tuple(remarks))


def _lines(draw: st.DrawFn, others: list[str]) -> list[str]:
    found: list[str] = []
    for other in others:
        if draw(st.booleans()):
            found.append(f"# {draw(_remarks)}")
        if draw(st.booleans()):
            found.append("")
        found.append(other)
    return found


def _part(draw: st.DrawFn, listed: list[Control]) -> tuple[list[str], list[str]]:
    """The lines of the controls, and their remarks: after each of the lines, and between them."""
    column = draw(st.sampled_from(["", "  ", "    "]))
    remarks: list[str] = []

    def remark() -> str:
        if not draw(st.booleans()):
            return ""
        remarks.append(f"# remark {len(remarks)}; {draw(_remarks)}")
        return f" {remarks[-1]}"

    if not listed:
        empty = draw(st.sampled_from(["controls:", "controls: []", "controls: ~", "controls: [ ]"]))
        return [empty + remark()], remarks
    lines = ["controls:" + remark()]
    for each in listed:
        if between := remark():
            lines.append(f"{column}{between}")
        keys = [f"press: {each.press}", f"do: {_quoted(draw, each.do)}"]
        if draw(st.booleans()):
            keys.reverse()
        match draw(st.sampled_from(["lines", "braces", "dash alone"])):
            case "lines":
                lines += [f"{column}- {keys[0]}{remark()}", f"{column}  {keys[1]}{remark()}"]
            case "braces":
                lines.append(f"{column}- {{{', '.join(keys)}}}{remark()}")
            case _:
                lines += [f"{column}-{remark()}", *(f"{column}   {k}{remark()}" for k in keys)]
    return lines, remarks


def _quoted(draw: st.DrawFn, do: tuple[str, ...]) -> str:
    """As YAML's single-quoted text, or plain where it may be."""
    text = " ".join(
        "'" + w.replace("'", "'\"'\"'") + "'" if set(w) & set(" '\\") else w for w in do
    )
    if re.fullmatch(r"[a-z]+( [-+a-zA-Z0-9.]+)*", text) and draw(st.booleans()):
        return text
    return "'" + text.replace("'", "''") + "'"


@given(_written(), _controls)
@settings(max_examples=120, deadline=None)
def test_learning_changes_the_controls_and_not_one_byte_or_remark_elsewhere(
    written: Written, learnt: Control
) -> None:
    before = configuration_from(HERE, written.text)
    assert before.controls == written.listed
    text = with_control(written.text, learnt)
    after = configuration_from(HERE, text)
    presses = [c.press for c in before.controls]
    if learnt.press in presses:
        i = presses.index(learnt.press)
        assert after.controls == (*before.controls[:i], learnt, *before.controls[i + 1 :])
    else:
        assert after.controls == (*before.controls, learnt)
    assert text.startswith(written.head)
    assert text.endswith(written.tail) or not written.part
    assert [r for r in written.remarks if r not in text] == []
    added = [line for line in text.splitlines() if line not in written.text.splitlines()]
    assert len(added) <= 3
    assert set(re.findall(r"\r\n|\r|\n", text)) <= set(re.findall(r"\r\n|\r|\n", written.text)) | {
        "\n"
    }


@given(_written(), _commands)
@settings(max_examples=120, deadline=None)
def test_forgetting_takes_the_lines_of_its_controls_and_not_one_byte_elsewhere(
    written: Written, do: tuple[str, ...]
) -> None:
    text = without_control(written.text, do)
    left = tuple(c for c in written.listed if c.do != do)
    assert controls(text) == left
    assert text.startswith(written.head)
    assert text.endswith(written.tail)
    if left == written.listed:
        assert text == written.text
    kept = [line for line in text.splitlines() if "controls:" not in line]
    assert [line for line in kept if line not in written.text.splitlines()] == []


@given(_written(), st.lists(_controls, min_size=1, max_size=4, unique_by=lambda c: c.press))
@settings(max_examples=60, deadline=None)
def test_what_was_learned_and_forgotten_leaves_the_other_controls(
    written: Written, learnt: list[Control]
) -> None:
    text = written.text
    for each in learnt:
        text = with_control(text, each)
    for each in learnt:
        text = without_control(text, each.do)
    presses = {each.press for each in learnt}
    commands = {each.do for each in learnt}
    assert controls(text) == tuple(
        c for c in written.listed if c.press not in presses and c.do not in commands
    )
