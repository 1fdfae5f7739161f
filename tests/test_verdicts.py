"""Whether verdicts on notes, and what is lost behind the reader, are measured rightly."""

from __future__ import annotations

from models.extractor.ceiling import KINDS, understand_as_annotated
from models.extractor.gold import usual_names
from models.extractor.passages import load_split
from models.extractor.scoring import Tally, compare
from models.extractor.verdicts import bands_of, counts, table

LEAST_RIGHT = 0.96  # of the verdicts given; measured 0.989 on the dev notes
MOST_PASSED_OVER = 0.16  # of the readings out of band: neither flagged nor asked; measured 0.124


def test_verdicts_on_the_dev_notes() -> None:
    tally = counts(load_split("dev"))
    given = {k: n for k, n in tally.items() if k[1] in ("in_band", "low", "high", "unit_mismatch")}
    right = sum(n for (wanted, got), n in given.items() if wanted == got)
    assert right >= LEAST_RIGHT * sum(given.values()) > 50
    out = {k: n for k, n in tally.items() if k[0] in ("low", "high")}
    seen = sum(n for (wanted, got), n in out.items() if got in (wanted, "unsure"))
    assert 1 - seen / sum(out.values()) <= MOST_PASSED_OVER
    assert "target 99 %" in "\n".join(table(tally))


def test_bands_lie_around_and_beside_the_values() -> None:
    """Both verdicts must occur, or the measure could not fail."""
    bands = [band for passage in load_split("dev")[:40] for band in bands_of(passage)]
    assert bands and all(band.low < band.high for band in bands)
    wanted = {wanted for wanted, _ in counts(load_split("dev")[:40])}
    assert wanted == {"in_band", "low", "high"}


def test_steps_behind_the_reader_lose_little() -> None:
    """With the annotations in the place of the reader; measured 0.84 and 0.94 on the dev notes."""
    names, tally = usual_names(load_split("train")), Tally()
    for passage in load_split("dev"):
        tally.add(compare(passage, understand_as_annotated(passage, names, KINDS)))
    assert tally.f1("all") >= 0.81
    assert tally.f1("value unit") >= 0.92
