"""The two looks, dark for a stage and light for a sunlit room, and the screen's arrangement.

Colours stay apart in brightness as well, so that a terminal of 16 colours or none shows the same
differences; and none says anything that a word, a shape or a place does not say too.
"""

from textual.theme import Theme

DARK, LIGHT = "dark", "light"

THEMES = (
    Theme(
        name=DARK,
        dark=True,
        primary="#e0b15c",  # old brass: the chord, and what is now
        secondary="#8fb7c4",
        accent="#e0b15c",
        warning="#f0c674",
        error="#ff8a6b",
        success="#a9c48a",
        foreground="#ece5d8",
        background="#141210",
        surface="#1d1a17",
        panel="#2a2622",
    ),
    Theme(
        name=LIGHT,
        dark=False,
        primary="#7a4a00",  # the ink of an old print
        secondary="#1f5668",
        accent="#7a4a00",
        warning="#7a4a00",
        error="#9c2113",
        success="#3d5a1e",
        foreground="#1d1a16",
        background="#f7f2e7",
        surface="#efe8d9",
        panel="#e2d9c6",
    ),
)

CSS = """
Screen { layout: vertical; background: $background; color: $foreground; }
#views { height: 1fr; }
#views.lost { opacity: 65%; }
StageView { height: 1fr; padding: 0 1; }
StageView > #style, StageView > #time { height: auto; max-height: 2; }
StageView > #time.under-way { text-style: bold reverse; }
StageView > #chord { height: 1fr; color: $primary; }
StageView > #degree { color: $foreground; }
StageView > #beats { color: $foreground; }
#health { height: auto; max-height: 2; background: $surface; color: $foreground; }
#health.wrong { background: $panel; color: $error; text-style: bold; }
KeyBar { height: auto; max-height: 8; background: $panel; color: $foreground; padding: 0 1; }
Asking { height: auto; max-height: 3; display: none; background: $surface; }
Asking.open { display: block; }
Asking Horizontal { height: 1; }
Asking Input { border: none; height: 1; padding: 0; width: 1fr; background: $surface; }
Asking #asked { width: auto; height: 1; padding: 0 1; text-style: bold; }
Asking #refused { height: auto; max-height: 2; padding: 0 1; color: $error; display: none; }
Asking #refused.said { display: block; }
"""
