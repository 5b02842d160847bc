"""The music as the page shows it: strikes, bars, the names of the notes, the teeth."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from disc.desk.open_job.derive import Derived, sounding_pitches
from disc.desk.open_job.notes_said import notes_as_read
from disc.doubts import doubts_to_json
from disc.pitch_names import note_name
from disc.records import Comb, Strike
from disc.turn.places import beat_words


def page_music(derived: Derived, comb: Comb | None, rev: int) -> dict[str, Any]:
    """Plain JSON. Strikes are [turn_deg, onset_s, tooth, pin id, doubtful, silent, swing]; times in seconds since the
    disc started. silent: the tooth gives no tone. swing: its loudness against the loudest, null where not known."""
    tune = derived.tune
    read = notes_as_read(tune)
    fifths = tune.key.fifths if tune else 0
    return {
        "rev": rev,
        "why": derived.why,
        "now": [_strike(s) for s in derived.now],
        "should": [_strike(s) for s in derived.should],
        "bars": [[b.number, round(b.onset_s, 4), round(b.turn_deg, 3)] for b in derived.bars],
        "beats": list(derived.beats_s),
        "places": {
            str(pin): {"bar": p.bar, "beat": beat_words(p.beat), "exact": p.exact, "note": read.get(pin)}
            for pin, p in derived.places.items()
        },
        "teeth": _teeth(comb, fifths) if comb else [],
        "said": [asdict(one) for one in derived.said],
        "alternatives": list(derived.alternatives),
        "doubts": doubts_to_json(derived.doubts),
        "tune": None
        if tune is None
        else {
            "title": tune.title,
            "metre": f"{tune.metre.beats}/{tune.metre.unit}",
            "key": _key_words(tune.key),
            "upbeat": str(tune.upbeat_quarter / 4),
            "notes": len(tune.notes),
            "quarter_s": tune.quarter_s,
        },
    }


def _strike(strike: Strike) -> list[Any]:
    place = [round(strike.turn_deg, 3), round(strike.onset_s, 4)]
    return [*place, strike.tooth, strike.pin_id, strike.doubtful, strike.silent, strike.swing]


def _teeth(comb: Comb, fifths: int) -> list[dict[str, Any]]:
    pitches = sounding_pitches(comb)
    return [
        {
            "number": tooth.number,
            "side": tooth.side.value,
            "r_mm": round(tooth.tip_r_mm, 3),
            "tip_theta_deg": tooth.tip_theta_deg,
            "pitch": pitches[tooth.number][0],
            "stand_in": pitches[tooth.number][1],
            "name": note_name(tooth.pitch, fifths, cents=True),
            "condition": tooth.condition.value if tooth.condition else None,
        }
        for tooth in comb.teeth
    ]


def _key_words(key: Any) -> str:
    from disc.tune.settings import key_name

    return key_name(key)
