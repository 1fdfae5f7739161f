"""Whether verdicts on notes, and what is lost behind the reader, are measured rightly."""

from __future__ import annotations

from models.extractor.ceiling import KINDS, understand_as_annotated
from models.extractor.gold import usual_names
from models.extractor.passages import load_split
from models.extractor.scoring import Tally, compare
from models.extractor.verdicts import ALARMS, ASKED, LEFT_OUT, bands_of, counts, table

LEAST_RIGHT = 0.96  # of the verdicts given; measured 0.991 on the dev notes
MOST_PASSED_OVER = 0.08  # of the readings out of band: neither flagged nor asked; measured 0.053
# Of readings within their band, and of those whose band was left out, flagged or asked about
# because of a band; measured 0.032 and 0.044.
MOST_ALARMS = {"in_band": 0.08, LEFT_OUT: 0.08}


def test_verdicts_on_the_dev_notes() -> None:
    tally = counts(load_split("dev"))
    given = {k: n for k, n in tally.items() if k[1] in ("in_band", "low", "high", "unit_mismatch")}
    right = sum(n for (wanted, got), n in given.items() if wanted == got)
    assert right >= LEAST_RIGHT * sum(given.values()) > 50
    out = {k: n for k, n in tally.items() if k[0] in ("low", "high")}
    seen = sum(n for (wanted, got), n in out.items() if got in (wanted, *ASKED))
    assert 1 - seen / sum(out.values()) <= MOST_PASSED_OVER
    for wanted, most in MOST_ALARMS.items():
        own = {k: n for k, n in tally.items() if k[0] == wanted}
        assert sum(n for (_, got), n in own.items() if got in ALARMS) <= most * sum(own.values())
    assert "target 99 %" in "\n".join(table(tally))


def test_bands_lie_around_and_beside_the_values() -> None:
    """Both verdicts must occur, or the measure could not fail."""
    bands = [band for passage in load_split("dev")[:40] for band in bands_of(passage)]
    assert bands and all(band.low < band.high for band in bands)
    wanted = {wanted for wanted, _ in counts(load_split("dev")[:40])}
    assert wanted >= {"in_band", "low", "high", LEFT_OUT}


def test_each_place_has_a_band_if_wanted() -> None:
    passages = load_split("dev")
    alone = sum(len(bands_of(passage)) for passage in passages)
    placed = [band for passage in passages for band in bands_of(passage, placed=True)]
    assert len(placed) > alone
    assert any(band.position for band in placed)


def test_steps_behind_the_reader_lose_little() -> None:
    """With the annotations in the place of the reader; measured 0.84 and 0.94 on the dev notes."""
    names, tally = usual_names(load_split("train")), Tally()
    for passage in load_split("dev"):
        tally.add(compare(passage, understand_as_annotated(passage, names, KINDS)))
    assert tally.f1("all") >= 0.81
    assert tally.f1("value unit") >= 0.92
