"""What ``spacy train --code`` loads: the component and the reader of our DocBin files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import spacy
from spacy.language import Language
from spacy.tokens import Doc, DocBin
from spacy.training import Example

import talklog.rolereader  # registers the factory "role_reader"
import talklog.spanreader  # registers the factory "span_reader"


@spacy.registry.readers("talklog.notes.v1")
def read_notes(path: Path) -> Callable[[Language], Iterator[Example]]:
    """Examples of a DocBin of ``prepare``. spaCy's own reader would leave the clues behind."""

    def examples(nlp: Language) -> Iterator[Example]:
        for doc in DocBin(store_user_data=True).from_disk(path).get_docs(nlp.vocab):
            bare = Doc(nlp.vocab, words=[token.text for token in doc])
            for key in (talklog.spanreader.CLUES, talklog.rolereader.NUMBERS):
                bare.user_data[key] = doc.user_data[key]
            yield Example(bare, doc)

    return examples
