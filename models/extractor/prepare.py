"""Corpus -> DocBin files that ``spacy train`` reads, and the table of word vectors.

python -m models.extractor.prepare [--folder models/extractor/work]
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click
import spacy
from spacy.tokens import Doc, DocBin
from spacy.vocab import Vocab

from models.extractor.generated.generate import Made, make_notes
from models.extractor.gold import NOTHING, Names, component_names, gold_of
from models.extractor.passages import SPLITS, Passage, load_split
from models.extractor.scoring import transcript_of
from models.extractor.training import WEIGHT
from models.extractor.varied import variants
from talklog.clues import find_clues, find_landmarks
from talklog.mentions import Mentions, find_mentions
from talklog.notereader import GOLD, NOTE, ROLES
from talklog.numberclues import number_clues
from talklog.roled import RoledNumber
from talklog.roles import assign_roles

WORK = Path(__file__).parent / "work"


def doc_of(passage: Passage, vocab: Vocab, *, names: Names) -> Doc:
    """A Doc of the passage's words with its clues and labels."""
    doc, mentions, roled = _doc(passage.words, vocab)
    doc.user_data[GOLD] = gold_of(passage, mentions, roled, names=names)
    return doc


def made_doc(made: Made, vocab: Vocab, *, weight: float) -> Doc:
    """A Doc of a generated note: only the roles of its numbers, at a smaller weight."""
    doc, _, roled = _doc(made.words, vocab)
    said = [made.roles[number.number.first] for number in roled]
    doc.user_data[GOLD] = {"roles": [ROLES.index(role) if role else NOTHING for role in said]}
    doc.user_data[WEIGHT] = weight
    return doc


def _doc(words: Sequence[str], vocab: Vocab) -> tuple[Doc, Mentions, tuple[RoledNumber, ...]]:
    transcript = transcript_of(words)
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    doc = Doc(vocab, words=list(words))
    doc.user_data[NOTE] = {
        "words": find_clues(transcript, mentions, roled),
        "numbers": [[n.number.first, n.number.last, n.last] for n in roled],
        "number_clues": number_clues(transcript, mentions, roled),
        "landmarks": find_landmarks(transcript, mentions, roled),
    }
    return doc, mentions, roled


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=WORK)
@click.option("--made", default=300, show_default=True, help="Generated notes added to train.")
@click.option("--weight", default=0.15, show_default=True, help="What one of them counts.")
@click.option("--copies", default=4, show_default=True, help="Variants of each note of train.")
def main(folder: Path, made: int, weight: float, copies: int) -> None:
    """Writes train.spacy, dev.spacy and test.spacy."""
    folder.mkdir(parents=True, exist_ok=True)
    vocab = spacy.blank("en").vocab
    names = component_names(load_split("train"))
    for split in SPLITS:
        docs = [doc_of(passage, vocab, names=names) for passage in load_split(split)]
        click.echo(f"{split}: {len(docs)} passages, {sum(map(len, docs))} words")
        if split == "train":
            varied = variants(load_split(split), copies=copies, seed=1)
            docs += [doc_of(passage, vocab, names=names) for passage in varied]
            docs += [made_doc(note, vocab, weight=weight) for note in make_notes(made, seed=1)]
        DocBin(docs=docs, store_user_data=True).to_disk(folder / f"{split}.spacy")


if __name__ == "__main__":
    main()
