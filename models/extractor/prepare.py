"""Corpus -> DocBin files that ``spacy train`` reads.

python -m models.extractor.prepare [--folder models/extractor/work]
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

import click
import spacy
from spacy.tokens import Doc, DocBin
from spacy.vocab import Vocab

from models.extractor.generated.generate import Made, make_notes
from models.extractor.gold import component_names, marks_of, roles_of
from models.extractor.passages import SPLITS, Passage, load_split
from models.extractor.scoring import transcript_of
from talklog.clues import find_clues
from talklog.mentions import find_mentions
from talklog.numberclues import number_clues
from talklog.roled import RoledNumber
from talklog.rolereader import NUMBERS, TRUE, WEIGHT
from talklog.roles import assign_roles
from talklog.spanreader import CLUES, GOLD

WORK = Path(__file__).parent / "work"


def doc_of(passage: Passage, vocab: Vocab, *, names: Iterable[tuple[str, ...]]) -> Doc:
    """A Doc of the passage's words with its clues and labels."""
    doc = _doc(passage.words, vocab, roles_of(passage))
    transcript = transcript_of(passage.words)
    clues = find_clues(transcript, find_mentions(transcript))
    doc.user_data |= {CLUES: [list(c) for c in clues], GOLD: marks_of(passage, names=names)}
    return doc


def made_doc(made: Made, vocab: Vocab, *, weight: float) -> Doc:
    """A Doc of a generated note: only the roles of its numbers, at a smaller weight."""
    doc = _doc(made.words, vocab, [(role, None) if role else None for role in made.roles])
    doc.user_data |= {CLUES: [], WEIGHT: weight}
    return doc


def _doc(words: Sequence[str], vocab: Vocab, said: Sequence[tuple[str, str | None] | None]) -> Doc:
    transcript = transcript_of(words)
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    doc = Doc(vocab, words=list(words))
    doc.user_data[NUMBERS] = number_clues(transcript, mentions, roled)
    doc.user_data[TRUE] = [role_of(number, said) for number in roled]
    return doc


def role_of(number: RoledNumber, roles: Sequence[tuple[str, str | None] | None]) -> str | None:
    """What the annotator said that a number is: the role of most of its words."""
    words = roles[number.number.first : number.number.last + 1]
    said = Counter(role[0] for role in words if role is not None)
    return said.most_common(1)[0][0] if said else None


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=WORK)
@click.option("--made", default=1500, show_default=True, help="Generated notes added to train.")
@click.option("--weight", default=0.15, show_default=True, help="What one of them counts.")
def main(folder: Path, made: int, weight: float) -> None:
    """Writes train.spacy, dev.spacy and test.spacy."""
    folder.mkdir(parents=True, exist_ok=True)
    vocab = spacy.blank("en").vocab
    names = component_names(load_split("train"))
    for split in SPLITS:
        docs = [doc_of(passage, vocab, names=names) for passage in load_split(split)]
        click.echo(f"{split}: {len(docs)} passages, {sum(map(len, docs))} words")
        if split == "train":
            docs += [made_doc(note, vocab, weight=weight) for note in make_notes(made, seed=1)]
        DocBin(docs=docs, store_user_data=True).to_disk(folder / f"{split}.spacy")


if __name__ == "__main__":
    main()
