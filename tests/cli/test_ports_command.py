"""`ripieno ports`, on whatever MIDI systems the machine has, none included."""

import argparse
import json

import pytest

from ripieno.cli import ports


def run(capfd: pytest.CaptureFixture[str], *words: str) -> str:
    parser = argparse.ArgumentParser()
    ports.add_parser(parser.add_subparsers())
    args = parser.parse_args(["ports", *words])
    assert args.run(args) == 0
    printed, complaint = capfd.readouterr()
    assert complaint == ""
    return printed


def test_the_report_says_which_system_which_ports_and_why(
    capfd: pytest.CaptureFixture[str],
) -> None:
    report = json.loads(run(capfd, "--json"))
    assert report["system"]["name"] in {"ALSA", "CoreMIDI", "Windows MM", "JACK", "memory"}
    assert report["system"]["why"]
    for kind, own in (("input", "ripieno in"), ("output", "ripieno out")):
        side = report[kind]
        assert side["use"] in {*side["found"], own, None}
        assert side["why"]


def test_the_text_says_what_the_json_says(capfd: pytest.CaptureFixture[str]) -> None:
    report = json.loads(run(capfd, "--json"))
    text = run(capfd)
    assert f"MIDI system: {report['system']['name']} ({report['system']['why']})" in text
    for kind in ("input", "output"):
        side = report[kind]
        assert f"{kind} used: {side['use'] or 'none'} ({side['why']})" in text
        assert all(f"\n  {name}\n" in text for name in side["found"])
