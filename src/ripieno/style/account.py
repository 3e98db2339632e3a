"""A style in plain words, drawn from its model."""

from fractions import Fraction

from ripieno.style.model import (
    USUAL_CATCH,
    Begin,
    Catch,
    Figure,
    Hand,
    Inversion,
    Lane,
    Meter,
    Pedal,
    Step,
    Style,
    Suspension,
    Swings,
    Touch,
)
from ripieno.theory.pitch import note_name

_NOTE_VALUES = {
    1: "whole notes",
    2: "halves",
    4: "quarters",
    8: "eighths",
    16: "sixteenths",
    32: "thirty-seconds",
    64: "sixty-fourths",
}
_INVERSIONS = {
    Inversion.ROOT: "in root position",
    Inversion.FIRST: "in first inversion",
    Inversion.SECOND: "in second inversion",
    Inversion.THIRD: "in third inversion",
    Inversion.NEAREST: "in whichever inversion moves the hand least",
}


def account(style: Style) -> str:
    """What the style does, in lines for a terminal."""
    lines = [f"{style.name} ({style.id})", style.use, f"Suits: {', '.join(style.suits)}", ""]
    lines += [_hand("Left", style.left), _hand("Right", style.right)]
    for figure in style.figures:
        lines += ["", *_figure(figure)]
    lines.append("")
    if style.suspension is not None:
        lines.append(_suspension(style.suspension))
    lines += [_pedal(style.pedal), _touch(style.touch)]
    if style.swings is not Swings.NONE:
        lines.append(f"Swing: pairs of {style.swings.name.lower()}, when swing is asked for")
    if style.catch != USUAL_CATCH:
        lines.append(_catch(style.catch))
    return "\n".join(lines)


def grid_in_words(every_quarters: Fraction) -> str:
    """`triplet eighths` for a third of a quarter: plain, dotted or of a triplet, or a fraction."""
    value = every_quarters / 4
    for factor, word in (
        (Fraction(1), ""),
        (Fraction(3, 2), "dotted "),
        (Fraction(2, 3), "triplet "),
    ):
        plain = factor / value
        if plain.denominator == 1 and plain.numerator in _NOTE_VALUES:
            return word + _NOTE_VALUES[plain.numerator]
    return f"notes of {value.numerator}/{value.denominator} of a whole note"


def _hand(name: str, hand: Hand | None) -> str:
    if hand is None:
        return f"{name} hand: silent"
    tones = ", ".join(" or else ".join(place) for place in hand.tones)
    return f"{name} hand: {tones}; {_INVERSIONS[hand.inversion]}, around {note_name(hand.around)}"


def _figure(figure: Figure) -> list[str]:
    lines = [f"In {', '.join(map(str, figure.meters))}"]
    for name, lane in (("left", figure.left), ("right", figure.right)):
        if lane is None:
            lines.append(f"  {name}: silent")
        else:
            lines += [f"  {name}: {_grid(lane, figure.meters)}", f"    {_cycle(lane)}"]
    return lines


def _grid(lane: Lane, meters: tuple[Meter, ...]) -> str:
    text = grid_in_words(lane.every_quarters)
    if lane.begins is Begin.STRIKE:
        text += ", begun anew by each chord"
        text += "" if lane.repeats else ", played once and held"
    else:
        counts = dict.fromkeys(str(m.bar_quarters / lane.every_quarters) for m in meters)
        text += f", {' or '.join(counts)} to the bar"
    if lane.length != 1:
        text += f", each down for {lane.length} of its time"
    if lane.roll_ms:
        text += f", rolled upward {lane.roll_ms:g} ms apart"
    return text


def _cycle(lane: Lane) -> str:
    """The steps in order. A place that a note before it lasts over is `held`, else a rest."""
    words = []
    down_until = 0
    for i, step in enumerate(lane.steps):
        if step.plays:
            words.append(_step(step, lane.steps[i + 1 : i + step.lasts]))
            down_until = max(down_until, i + step.lasts)
        else:
            words.append("held" if i < down_until else "rest")
    return ", ".join(words)


def _step(step: Step, covered: tuple[Step, ...]) -> str:
    text = " with ".join(f"note {p}" if isinstance(p, int) else p.value for p in step.plays)
    if step.accent:
        text += f" {step.accent:+}"
    if len(covered) < step.lasts - 1 or any(other.plays for other in covered):
        text += f" (down for {step.lasts} steps)"
    return text


def _suspension(suspension: Suspension) -> str:
    tone = "fourth" if suspension.degree == 4 else "second"
    way = "down" if suspension.degree == 4 else "up"
    value = suspension.lasts_quarters / 4
    length = f"{value.numerator}/{value.denominator}"
    return f"Suspension: the {tone} for {length} of a whole note, then {way} to the third"


def _catch(catch: Catch) -> str:
    times = f"up to {catch.late_ms:g} ms late or {catch.early_ms:g} ms early"
    return f"Catch: a chord {times} belongs to a step, within {catch.part} of it"


def _pedal(pedal: Pedal) -> str:
    return "Pedal: changed with each chord" if pedal is Pedal.LEGATO else "Pedal: left alone"


def _touch(touch: Touch) -> str:
    parts = [
        f"{name} {value:+}"
        for name, value in (
            ("left hand", touch.left),
            ("right hand", touch.right),
            ("top note", touch.top),
        )
        if value
    ]
    if touch.unevenness:
        parts.append(f"uneven by up to {touch.unevenness}")
    return f"Touch: {', '.join(parts) or 'as played'}"
