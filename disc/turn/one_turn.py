"""One turn of the disc, resolved once: pins with teeth, tips, strikes, tune, places and doubts.

Pins, comb, plate and settings go in; one frozen record comes out, which every room above takes. Nobody else gives
pins their teeth, estimates a tip, guesses a pitch or reads the tune of a disc, so that no two rooms can disagree on it.

    teeth by radius -> tips (measured, else from the beat) -> strikes -> tune -> places in bars
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from disc.comb.assign import Assignment
from disc.comb.pin_spread import Spread, Teeth, give_teeth
from disc.comb.strikes import strikes_from_pins
from disc.doubts import in_order
from disc.errors import BadInput
from disc.frame import onset_s, turn_deg
from disc.photo.seen.seen_map import SeenMap
from disc.records import About, Comb, Doubt, Pin, Plate, Side, Strike, Tooth, Tune
from disc.tune.read.read_tune import TuneReading, read_tune
from disc.tune.read.read_turn import read_turn
from disc.tune.settings import TuneSettings
from disc.turn.assumed import assumed_doubts, silent_doubts
from disc.turn.bars import BarGrid, grid_of
from disc.turn.fit.bent_pins import TELLING, lean_odds
from disc.turn.fit.direction import CLEAR, MOST_SURE, backwards_odds, other_way, ringing_odds
from disc.turn.fit.fit_doubts import fit_doubts
from disc.turn.guess import PitchGuess, guess_pitches
from disc.turn.order import check_order, parse_order, tooth_words
from disc.turn.places import MusicPlace, place_at
from disc.turn.said_of_notes import by_pin, lost_doubt, parse_word
from disc.turn.settings import USUAL_SETTINGS, TurnSettings
from disc.turn.silent_teeth import pitches_between
from disc.turn.swing import with_swings
from disc.turn.tips import TipEstimate, as_expected, estimate_tips, fill_silent
from disc.words import counted

# Where pitches are not known the teeth still part the voices, roughly, by their order: the reader needs some pitch to
# find the beat, and the beat is all that is used of it. Chosen: middle C, any would do.
STAND_IN_PITCH = 60.0


@dataclass(frozen=True, slots=True)
class OneTurn:
    """A disc's turn, resolved. Every tooth that a pin plays has a tip angle here.

    pins: in force, with their teeth. comb: with estimated tips and pitches filled in; table: as it was given. teeth:
    how the pins came by their teeth. strikes: as the maker meant them, from roots of what plays; now: as the disc
    stands, leans included; whole: as the maker meant them, with what is missing or broken. guess, between: pitches
    that the table lacks, from an order or from the neighbours. reading: the tune with its alternatives; where
    `pitched` is False the pitches stand in and only beat and bars are meant. why: why there is no tune. grid: the
    tune's bars in seconds. doubts: what is missing, assumed or implausible in all this, the gravest first. seen: by
    face, what its photographs show; a face without a map counts as seen.
    """

    pins: tuple[Pin, ...]
    comb: Comb
    table: Comb
    plate: Plate
    teeth: Teeth
    strikes: tuple[Strike, ...]
    now: tuple[Strike, ...]
    whole: tuple[Strike, ...]
    tips: TipEstimate | None = None
    guess: PitchGuess | None = None
    between: Mapping[int, float] | None = None
    reading: TuneReading | None = None
    pitched: bool = True
    why: str = ""
    grid: BarGrid | None = None
    doubts: tuple[Doubt, ...] = ()
    seen: Mapping[Side, SeenMap] = field(default_factory=dict)

    def is_seen(self, side: Side, r_mm: float, theta_deg: float) -> bool:
        """Whether the photographs show this place; where the pins did not come from photographs, they do."""
        return side not in self.seen or self.seen[side].is_seen(r_mm, theta_deg)

    @property
    def assignment(self) -> Assignment:
        """Which tooth each pin got, and how sure that is."""
        return self.teeth.assignment

    @property
    def spread(self) -> Spread:
        """How exactly the disc was made and read."""
        return self.teeth.spread

    @property
    def tune(self) -> Tune | None:
        """The tune as written; None where it could not be read or only its beat could."""
        return self.reading.tune if self.reading is not None and self.pitched else None

    @property
    def beat_tune(self) -> Tune | None:
        """What bars and beats go by: the tune, or its beat alone where pitches are not known."""
        return None if self.reading is None else self.reading.tune

    def onset_of(self, theta_deg: float, tooth: int) -> float | None:
        """Seconds at which a pin at this angle would sound the tooth; None for a tooth that is not on the comb."""
        tip = next((t.tip_theta_deg for t in self.comb.teeth if t.number == tooth), None)
        if tip is None:
            return None
        return float(onset_s(turn_deg(theta_deg, tip, self.plate.turns), self.plate.revolution_s))

    def place_of(self, theta_deg: float, tooth: int | None, pin_id: int | None = None) -> MusicPlace | None:
        """Bar and beat of a place: that of its note where a pin plays one, else by its time. None without a tune."""
        at_s = None if tooth is None else self.onset_of(theta_deg, tooth)
        if self.grid is None or self.beat_tune is None or at_s is None:
            return None
        return place_at(self.beat_tune, self.grid, at_s, pin_id)

    def place_of_pin(self, pin: Pin) -> MusicPlace | None:
        """Bar and beat at which a pin sounds."""
        return self.place_of(pin.theta_deg, pin.tooth, pin.id)


def resolve(
    pins: Sequence[Pin],
    comb: Comb,
    plate: Plate,
    settings: TurnSettings = USUAL_SETTINGS,
    fixed_teeth: Mapping[int, int] | None = None,
    doubts: Sequence[Doubt] = (),
) -> OneTurn:
    """The whole turn. fixed_teeth: set by a person, by pin id. doubts: those of the reading, carried on.

    Never raises for what is missing: a turn without pitches has no tune and says why. Raises BadInput for settings
    that contradict the disc (an --order that cannot be read).
    """
    return with_tune(resolve_strikes(give_teeth(pins, comb, fixed_teeth), comb, plate, settings, doubts), settings)


def resolve_strikes(
    teeth: Teeth,
    comb: Comb,
    plate: Plate,
    settings: TurnSettings = USUAL_SETTINGS,
    doubts: Sequence[Doubt] = (),
) -> OneTurn:
    """The turn without its tune, which takes longer to read: tips and strikes. teeth: the pins with their teeth."""
    made = [*doubts, *assumed_doubts(plate, comb)]
    full, tips = _with_tips(teeth.pins, comb, plate, settings.tip_limit_deg)
    if tips is not None:
        made.append(_tip_doubt(tips, comb))
    unsure = set() if tips is None else set(tips.silent)

    def struck(**how: bool) -> tuple[Strike, ...]:
        found = strikes_from_pins(teeth.pins, full, plate, **how)
        doubted = tuple(replace(s, doubtful=s.doubtful or s.tooth in unsure) for s in found)
        return with_swings(doubted, teeth.pins, settings.overlap)

    strikes, now, whole = struck(), struck(as_it_stands=True), struck(with_missing=True)
    made += [*fit_doubts(teeth.pins, full, plate, strikes), *silent_doubts(strikes)]
    return OneTurn(teeth.pins, full, comb, plate, teeth, strikes, now, whole, tips, doubts=in_order(made))


def with_tune(turn: OneTurn, settings: TurnSettings = USUAL_SETTINGS) -> OneTurn:
    """The turn with its tune read, where it can be."""
    turn = _with_pitches(turn, settings.order)
    known = [s for s in turn.strikes if s.pitch is not None]
    pitched = len(known) == len(turn.strikes)
    asked = known if pitched else [replace(s, pitch=STAND_IN_PITCH + s.tooth) for s in turn.strikes]
    tune_settings, lost = tune_settings_of(turn, settings)
    if lost is not None:
        turn = replace(turn, doubts=(*turn.doubts, lost))
    if turn.guess is not None:
        tune_settings = replace(tune_settings, title=f"{tune_settings.title} (pitches guessed)".strip())
    try:
        reading = read_turn(asked, turn.plate, tune_settings)
    except BadInput as error:
        return replace(turn, why=str(error), pitched=pitched)
    why = "" if pitched else f"{_unpitched(turn)}, so only the beat could be read"
    grid = grid_of(reading.tune, turn.strikes)
    return replace(turn, reading=reading, pitched=pitched, why=why, grid=grid)


def tune_settings_of(turn: OneTurn, settings: TurnSettings) -> tuple[TuneSettings, Doubt | None]:
    """What is fixed of the music, single notes by the pins that play them; with what is said of no pin any more."""
    if not settings.notes:
        return settings.tune, None
    found = by_pin(settings.notes, turn.pins)
    notes = tuple((pin, parse_word(said.word)) for said, pin in found.items() if pin is not None)
    return replace(settings.tune, notes=notes), lost_doubt(found)


def with_direction_weighed(turn: OneTurn, settings: TurnSettings = USUAL_SETTINGS) -> OneTurn:
    """The turn with the other way of turning held against the one in force, by music, rest arc and leans."""
    if turn.reading is None or not turn.pitched or any(part.titled for part in turn.reading.tune.sections):
        return turn  # the odds were found on turns of one tune
    plate = replace(turn.plate, turns=other_way(turn.plate.turns))
    strikes = [s for s in strikes_from_pins(turn.pins, turn.comb, plate) if s.pitch is not None]
    try:
        odds = backwards_odds(turn.reading, read_tune(strikes, plate, tune_settings_of(turn, settings)[0]))
    except BadInput:
        return turn
    leans = lean_odds(turn.pins, turn.plate.turns)
    odds += ringing_odds(turn.strikes) + leans
    if odds < CLEAR:
        return turn
    way = plate.turns.value
    doubt = Doubt(
        About.DIRECTION,
        f"the music hangs together better if the disc turns {way}."
        if leans < TELLING
        else f"the music and the lean of the bent pins fit better if the disc turns {way}.",
        f"See on which side of the pins the teeth wear them; then disc set JOB --turns {way}",
        probability=min(1.0 / (1.0 + math.exp(-odds)), MOST_SURE),
    )
    return replace(turn, doubts=in_order((*turn.doubts, doubt)))


def with_known_tune(turn: OneTurn, tune: Tune) -> OneTurn:
    """The turn with a tune that is known beforehand, as of a disc laid out by design, instead of one read from it."""
    grid = grid_of(tune, turn.strikes)
    reading = TuneReading(tune, None, None, grid.sigma_s, (), (), ())
    return replace(turn, reading=reading, pitched=all(s.pitch is not None for s in turn.strikes), grid=grid)


def _with_tips(pins: Sequence[Pin], comb: Comb, plate: Plate, limit_deg: float) -> tuple[Comb, TipEstimate | None]:
    """The comb with every tip's angle (measured, from the beat, or the others' row), and what was estimated."""
    if all(tooth.tip_theta_deg is not None for tooth in comb.teeth):
        return comb, None
    tips = fill_silent(
        estimate_tips(strikes_from_pins(pins, as_expected(comb), plate), comb, plate, limit_deg), comb, limit_deg
    )
    return replace(comb, teeth=tuple(_with_tip(tooth, tips) for tooth in comb.teeth)), tips


def _with_tip(tooth: Tooth, tips: TipEstimate) -> Tooth:
    known = tooth.tip_theta_deg is not None
    return tooth if known else replace(tooth, tip_theta_deg=tips.tip_theta_deg[tooth.number])


def _tip_doubt(tips: TipEstimate, comb: Comb) -> Doubt:
    told = len(tips.tip_theta_deg) - len(tips.silent)
    words = (
        f"the tip angles of {len(tips.tip_theta_deg)} of {len(comb.teeth)} teeth were not measured and were estimated"
    )
    words += (
        f" from the beat ({told}; the other {len(tips.silent)} play too little to tell)"
        if tips.silent
        else " from the beat"
    )
    if len(tips.tip_theta_deg) < len(comb.teeth):
        off = "onsets of these teeth are off by a degree or two"
    else:
        off = "they are taken to stand nearly in one line; where they spread further, notes stand wrong by as much"
    return Doubt(
        About.ASSUMED,
        f"{words}; {off}.",
        "Measure tip_theta_deg with the disc at rest and fill it into the comb's table (disc comb --table).",
    )


def _with_pitches(turn: OneTurn, order: str | None) -> OneTurn:
    """Pitches that are missing, where they can be told: guessed from an order given, else from a tooth's neighbours."""
    unknown = sorted({s.tooth for s in turn.strikes if s.pitch is None})
    if not unknown:
        return turn
    if order is not None:
        numbers, lengths_mm = parse_order(order)
        check_order(numbers, turn.comb, unknown)
        guess = guess_pitches(turn.strikes, numbers, lengths_mm)
        doubt = Doubt(
            About.ASSUMED,
            f"the pitches of {counted(len(guess.pitch), 'tooth', 'teeth')} are a guess from their order and what the "
            "disc plays.",
            "Measure them: disc comb --plucked RECORDING, or fill in the column pitch (disc comb --table).",
        )
        return _pitched_as(replace(turn, guess=guess, doubts=(*turn.doubts, doubt)), guess.pitch, False)
    between = pitches_between(turn.comb, unknown)
    if between is None:
        return turn
    whose = "its" if len(unknown) == 1 else "their"
    doubt = Doubt(
        About.ASSUMED,
        f"{tooth_words(unknown)} {'has' if len(unknown) == 1 else 'have'} no pitch of {whose} own; one between the "
        "neighbours' is assumed, and the notes are marked.",
        "Measure it: disc comb --plucked RECORDING, or fill in the column pitch (disc comb --table).",
    )
    return _pitched_as(replace(turn, between=between, doubts=(*turn.doubts, doubt)), between, True)


def _pitched_as(turn: OneTurn, pitch: Mapping[int, float], doubtful: bool) -> OneTurn:
    """The turn with these pitches where the comb's table has none."""

    def given(strike: Strike) -> Strike:
        if strike.pitch is not None or strike.tooth not in pitch:
            return strike
        return replace(strike, pitch=pitch[strike.tooth], doubtful=strike.doubtful or doubtful)

    teeth = tuple(t if t.pitch is not None else replace(t, pitch=pitch.get(t.number)) for t in turn.comb.teeth)
    strikes, now, whole = (tuple(map(given, part)) for part in (turn.strikes, turn.now, turn.whole))
    return replace(turn, comb=replace(turn.comb, teeth=teeth), strikes=strikes, now=now, whole=whole)


def _unpitched(turn: OneTurn) -> str:
    unknown = sorted({s.tooth for s in turn.strikes if s.pitch is None})
    return f"{tooth_words(unknown)} of the comb {'has' if len(unknown) == 1 else 'have'} no pitch"
