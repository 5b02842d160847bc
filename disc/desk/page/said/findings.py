"""What the page says in the panel of the findings."""

from __future__ import annotations

from disc.locale.catalogue import mark

FINDINGS: tuple[str, ...] = (
    mark("accepted"),
    mark("rejected"),
    mark("left in doubt"),
    mark("open again"),
    mark("Check again"),
    mark("The findings are being worked out …"),
    mark("The check needs pins and a comb, by which it knows what each pin sounds. Give the comb first (tab Comb)."),
    mark(
        "The disc has not been checked yet. The check looks at every pin and hole, and says what is "
        "missing, bent, left over or set wrong, each with its evidence."
    ),
    mark("Check the disc"),
    mark("None of these."),
    mark("The check found nothing to say."),
    mark("Check against a score …"),
    mark("open ({n})"),
    mark("accepted ({n})"),
    mark("rejected ({n})"),
    mark("in doubt ({n})"),
    mark("all ({n})"),
    mark("{side} {mm} mm {deg}°"),
    mark("Reason, {words}"),
    mark("reason"),
    mark("Reason"),
    mark("why it is none"),
    mark("Show {words}"),
    mark("Hear {words}"),
    mark("Accept"),
    mark("Doubt"),
    mark("Reopen"),
    mark("Reject"),
    mark("{words}, pin {n}"),
    mark("Checked: {n} findings."),
    mark("Checked: {n} finding."),
    mark("{heading}: accepted."),
    mark("{heading}: rejected."),
    mark("{heading}: left in doubt."),
    mark("{heading}: open again."),
)
