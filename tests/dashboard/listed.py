"""A style as the daemon lists it, for the tests of the screen.

    entry("waltz", meters=["3/4"])

is the object of the answer; `listed` is the style that is read from it.
"""

from ripieno.dashboard.finding import ListedStyle, styles_from


def entry(id: str, **changes: object) -> dict[str, object]:  # noqa: A002 - a style's
    return {
        "id": id,
        "name": id.replace("-", " ").capitalize(),
        "use": "For songs.",
        "suits": ["gig"],
        "meters": ["4/4"],
        "hands": "both",
        "density": 12.0,
        "swings": False,
        "pedal": True,
        "account": ["Left hand: root", "  left: quarters"],
        "own": False,
        "file": f"/presets/{id}.yaml",
        "faults": [],
    } | changes


def listed(id: str, **changes: object) -> ListedStyle:  # noqa: A002 - a style's
    return styles_from({"styles": [entry(id, **changes)]})[0]
