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

from models.extractor.gold import component_names, marks_of, roles_of
from models.extractor.passages import Passage, load_split
from models.extractor.scoring import transcript_of
from talklog.clues import find_clues
from talklog.mentions import find_mentions
from talklog.numberclues import number_clues
from talklog.roled import RoledNumber
from talklog.rolereader import NUMBERS, TRUE
from talklog.roles import assign_roles
from talklog.spanreader import CLUES, GOLD

WORK = Path(__file__).parent / "work"


def doc_of(passage: Passage, vocab: Vocab, *, names: Iterable[tuple[str, ...]]) -> Doc:
    """A Doc of the passage's words with its clues and labels."""
    transcript = transcript_of(passage.words)
    doc = Doc(vocab, words=list(passage.words))
    mentions = find_mentions(transcript)
    roled = assign_roles(transcript, mentions)
    said = roles_of(passage)
    doc.user_data[CLUES] = [list(clues) for clues in find_clues(transcript, mentions)]
    doc.user_data[NUMBERS] = number_clues(transcript, mentions, roled)
    doc.user_data[TRUE] = [role_of(number, said) for number in roled]
    doc.user_data[GOLD] = marks_of(passage, names=names)
    return doc


def role_of(number: RoledNumber, roles: Sequence[tuple[str, str | None] | None]) -> str | None:
    """What the annotator said that a number is: the role of most of its words."""
    words = roles[number.number.first : number.number.last + 1]
    said = Counter(role[0] for role in words if role is not None)
    return said.most_common(1)[0][0] if said else None


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=WORK)
def main(folder: Path) -> None:
    """Writes train.spacy, dev.spacy and test.spacy."""
    folder.mkdir(parents=True, exist_ok=True)
    vocab = spacy.blank("en").vocab
    names = component_names(load_split("train"))
    for split in ("train", "dev", "test"):
        docs = [doc_of(passage, vocab, names=names) for passage in load_split(split)]
        DocBin(docs=docs, store_user_data=True).to_disk(folder / f"{split}.spacy")
        click.echo(f"{split}: {len(docs)} passages, {sum(map(len, docs))} words")


if __name__ == "__main__":
    main()
