"""What README and docs say is so: commands parse, examples print it, tables name what there is.

The texts are the outside here: people act on them, so the program is held against them.
"""

import json
import re
import shlex
import tomllib
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import mido
import pytest

import ripieno
from ripieno.cli.entry import COMMANDS, _parser, main
from ripieno.perform import events as ev
from ripieno.perform import journal
from ripieno.perform.events import Send
from ripieno.perform.performer import Heard
from ripieno.perform.settings import Follow, ReadKeys, Settings, Start
from ripieno.perform.transport import Transport
from ripieno.style.document import schema_text
from ripieno.style.load import load_style
from ripieno.style.model import COMMON_TIME
from ripieno.style.shipped import shipped_styles
from ripieno.theory.key import key_named
from ripieno.theory.recognize import recognize

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
STYLES_PAGE, JOURNAL_PAGE = ROOT / "docs" / "styles.md", ROOT / "docs" / "journal.md"
PAGES = [README, ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *sorted(ROOT.glob("docs/*.md"))]

CHORDS = ((60, 64, 67), (57, 60, 64), (53, 57, 60), (55, 59, 62))  # a bar each, at 120 in 4/4
BAR_TICKS, LIFT_TICKS = 1920, 60


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def section(text: str, title: str) -> str:
    """What stands under a heading, down to the next of its kind."""
    _, found, rest = text.partition(f"\n## {title}\n")
    assert found, f"no section '{title}'"
    return rest.partition("\n## ")[0]


def blocks(text: str, language: str) -> list[str]:
    """The fenced blocks of a language, without their indentation."""
    fence = re.compile(rf"^( *)```{language}\n(.*?)^ *```$", re.MULTILINE | re.DOTALL)
    return [
        "\n".join(line.removeprefix(indent) for line in body.splitlines())
        for indent, body in fence.findall(text)
    ]


def commands(text: str) -> Iterator[str]:
    """Each command line of ours, in blocks and between backticks, `A && B` being two."""
    shown = [line for block in blocks(text, "sh") for line in block.splitlines()]
    shown += [call for call, _ in examples(text)]
    shown += ticked(text)
    for part in re.split(r"\s*&&\s*", " && ".join(shown)):
        name, space, words = part.partition(" ")
        if space and re.split(r"[\\/]", name)[-1] == "ripieno":
            yield words


def examples(text: str) -> list[tuple[str, str]]:
    """Each `$ command` of the console blocks, and what is printed under it."""
    found = []
    for block in blocks(text, "console"):
        for example in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            call, _, printed = example.partition("\n")
            found.append((call, printed.strip("\n")))
    return found


def rows(text: str) -> list[list[str]]:
    """The rows of all tables under their heads, as cells."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    table = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return [
        row for row, below in zip(table, [*table[1:], [""]], strict=True) if not rule(row, below)
    ]


def rule(row: list[str], below: list[str]) -> bool:
    """Whether a row is a table's head or the line under it."""
    return any(cell and not cell.strip("-") for cell in (row[0], below[0]))


def ticked(text: str) -> list[str]:
    """What stands between single backticks, outside of blocks."""
    outside = re.sub(r"^ *```.*?^ *```$", "", text, flags=re.MULTILINE | re.DOTALL)
    return re.findall(r"`([^`\n]+)`", outside)


def anchor(heading: str) -> str:
    """The anchor of a heading, as GitHub makes it (common practice, no source)."""
    return re.sub(r"[^\w -]", "", heading.strip().lower()).replace(" ", "-")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with the files that the examples name, and no styles of the user's."""
    for variable in ("HOME", "XDG_CONFIG_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(variable, str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=4, denominator=4)])
    for keys in CHORDS:
        track += [mido.Message("note_on", note=key, velocity=80) for key in keys]
        track += [
            mido.Message("note_off", note=key, time=0 if i else BAR_TICKS - LIFT_TICKS)
            for i, key in enumerate(keys)
        ]
        track.append(mido.MetaMessage("text", text="bar", time=LIFT_TICKS))
    mido.MidiFile(tracks=[track]).save("chords.mid")
    Path("mine.yaml").write_text(
        "name: Mine\nuse: Trying out.\nsuits: [gig]\nhands:\n"
        "  right: {tones: [root, third, fifth], around: C5}\nfigures:\n  - meters: [3/4]\n"
        "    right: {every: 1/7, steps: [all]}\n"
    )
    Path("lilt.yaml").write_text(blocks(text_of(STYLES_PAGE), "yaml")[0])


def test_two_lines_start_it_one_plays_the_demo_and_one_the_tests():
    demo, tests = blocks(section(text_of(README), "Start"), "sh")
    assert "\n" not in demo + tests
    assert demo.endswith("/ripieno demo")
    assert tests.endswith(" tests")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_that_is_shown_is_one_that_the_program_has(page):
    for command in commands(text_of(page)):
        words = [word for word in shlex.split(command) if word != "--help"]  # it would exit
        _parser(words).parse_args(words)


def test_readme_shows_every_command():
    assert {command.split()[0] for command in commands(text_of(README))} == set(COMMANDS)


def test_the_style_table_says_of_each_shipped_style_its_meters_and_its_use():
    styles = [load_style(path) for path in shipped_styles()]
    assert rows(section(text_of(README), "Styles")) == [
        [f"`{s.id}`", " ".join(str(m) for f in s.figures for m in f.meters), s.use] for s in styles
    ]


@pytest.mark.usefixtures("folder")
def test_every_example_prints_what_is_shown(capsys):
    for call, printed in examples(text_of(README)):
        program, *words = shlex.split(call)
        assert program == "ripieno"
        main(words)
        out, err = capsys.readouterr()
        assert (out + err).strip("\n") == printed, call


@pytest.mark.usefixtures("folder")
def test_the_replay_that_readme_shows_makes_the_same_file():
    calls = [shlex.split(call)[1:] for call, _ in examples(text_of(README))]
    made = [words[words.index("-o") + 1] for words in calls if main(words) == 0 and "-o" in words]
    assert made == ["song.mid", "again.mid"]
    assert Path("song.mid").read_bytes() == Path("again.mid").read_bytes()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_inside_the_project_leads_somewhere(page):
    for target in re.findall(r"\]\((?!https?:)([^)]+)\)", text_of(page)):
        path, _, place = target.partition("#")
        linked = page.parent / path if path else page
        assert linked.exists(), target
        if place:
            headings = re.findall(r"^#+ (.+)$", text_of(linked), re.MULTILINE)
            assert place in map(anchor, headings), target


def test_the_newest_version_of_the_changelog_is_the_one_being_made():
    project = tomllib.loads(text_of(ROOT / "pyproject.toml"))["project"]
    newest = re.search(r"^## \[([^\]]+)\]", text_of(ROOT / "CHANGELOG.md"), re.MULTILINE)
    assert newest is not None
    assert newest[1] == project["version"] == ripieno.__version__


def test_readme_names_the_pythons_that_the_project_is_made_for():
    project = tomllib.loads(text_of(ROOT / "pyproject.toml"))["project"]
    named = {c.split(" :: ")[-1] for c in project["classifiers"] if c.count("Python :: 3.")}
    start = section(text_of(README), "Start").partition("```")[0]
    assert set(re.findall(r"3\.\d+", start)) == named


def test_the_style_page_explains_every_key_of_a_style():
    keys = set()
    forms = [json.loads(schema_text())]
    while forms:
        form = forms.pop()
        keys |= set(form.get("properties", {}))
        forms += form.get("$defs", {}).values()
    explained = {key for row in rows(text_of(STYLES_PAGE)) for cell in row for key in ticked(cell)}
    assert keys - explained == set()


def test_the_style_page_explains_every_word_of_a_step():
    schema = json.loads(schema_text())
    steps = json.dumps(schema["$defs"]["LaneForm"]["properties"]["steps"])
    words = {
        word
        for enum in re.findall(r'"enum": \[([^\]]*)\]', steps)
        for word in re.findall(r"\w+", enum)
    }
    assert {"rest", "hold", "bottom", "seventh"} <= words
    table = rows(section(text_of(STYLES_PAGE), "A lane: the rhythm of one hand"))
    assert words - {word for row in table for word in ticked(row[0])} == set()


@pytest.mark.usefixtures("folder")
def test_the_style_page_is_right_about_a_whole_style(capsys):
    assert main(["check", "lilt.yaml"]) == 0
    assert capsys.readouterr().out == "lilt.yaml: good: Lilt in three (3/4)\n"


def every_kind_of_line() -> Iterator[journal.Line]:
    """One of each kind that a journal can hold after its header."""
    style = load_style(shipped_styles()[0])
    reading = recognize([60, 64, 67])
    happenings = [
        ev.KeyDown(0, 60, 80),
        ev.Controller(0, 1, 64),
        ev.Passing(0, bytes.fromhex("C0 05")),
        ev.Stop(0),
        ev.Silence(0),
        ev.SetStyle(0, style),
        ev.SetTempo(0, 90.0),
        ev.SetMeter(0, COMMON_TIME),
        ev.SetHold(0, hold=False),
        ev.SetKey(0, key_named("G")),
        ev.SetSplit(0, 60),
        ev.SetTranspose(0, 2),
        ev.SetReading(0, ReadKeys.PLAYED),
        ev.SetMuted(0, None),
        ev.Show(0, (60, 64)),
        ev.Resume(0, reading.chord, 80, Transport(0, Fraction(0), Fraction(1), COMMON_TIME)),
        ev.Tapped(0, 0, 90.0),
        ev.Nudge(0, 10.0),
        ev.Ramp(0, 90.0, 4),
        ev.Scale(0, Fraction(2)),
        ev.Downbeat(0, 0),
        ev.Break(0),
        ev.CountIn(0, 1),
        ev.Ending(0),
        ev.SetFollow(0, Follow.HANDS),
        ev.SetLean(0, 50),
        ev.SetStart(0, Start.STRIKE),
        ev.SetPickup(0, 1),
        ev.SetSwing(0, None),
        ev.SetSendClock(0, send_clock=True),
        ev.ClockTick(0),
        ev.ClockStart(0),
        ev.ClockContinue(0),
        ev.ClockStop(0),
        ev.SongPosition(0, 4),
        Heard(0, 0, reading, amends=False),
        *(Send(0, bytes.fromhex(data)) for data in ("90 3C 40", "B0 40 7F", "C0 05")),
    ]
    assert {type(happening) for happening in happenings} >= set(ev.Input.__args__) - {ev.KeyUp}
    for happening in happenings:
        yield journal.line(happening, None)[0]
    yield journal.end(0)


def test_the_journal_page_lists_the_fields_of_every_kind_of_line():
    told = section(text_of(JOURNAL_PAGE), "Every other line")
    listed = {ticked(kind)[0]: ticked(fields) for kind, fields in rows(told)}
    written = {
        line["kind"]: [field for field in line if field not in ("ms", "kind")]
        for line in every_kind_of_line()
    }
    assert listed == written


def test_the_journal_page_lists_the_fields_of_the_header_and_its_settings():
    header = journal.header(Settings(), load_style(shipped_styles()[0]))
    told = rows(section(text_of(JOURNAL_PAGE), "The first line"))
    assert [ticked(name)[0] for name, _ in told] == list(header)
    settings = next(text for name, text in told if name == "`settings`")
    assert ticked(settings) == list(header["settings"])


@pytest.mark.usefixtures("folder")
def test_the_journal_page_shows_lines_that_its_command_writes():
    (command,) = commands(text_of(JOURNAL_PAGE))
    assert main(shlex.split(command)) == 0
    (shown,) = blocks(text_of(JOURNAL_PAGE), "json")
    written = Path("waltz.jsonl").read_text().splitlines()
    assert [line for line in written if line in shown.splitlines()] == shown.splitlines()


def test_the_folders_and_files_that_developers_are_sent_to_exist():
    named = [word for word in ticked(text_of(ROOT / "DEVELOPERS.md")) if "/" in word]
    paths = [
        word for word in named if re.fullmatch(r"(tests|presets|benchmarks|\.ci)/[\w./]*", word)
    ]
    assert len(paths) >= 5
    assert [path for path in paths if not (ROOT / path).exists()] == []
