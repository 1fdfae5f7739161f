"""Spoken workshop notes from a grammar: text for the language model, prompts for speech.

Run from the top of the repository:

    python -m models.speech.dictation_grammar --seed 1 --sentences 1000000 > work/grammar.txt

One utterance a line: lower-case words as they are said, no digits, no punctuation; units said
letter by letter are single letters ("p s i"). The same seed gives the same lines.

The rules are the text files in models/speech/grammar. Their form:

    name = first alternative | second one @3
        more alternatives on indented lines, one or several a line

"@3" makes an alternative three times as likely as one without a weight. "<name>" stands for
another rule, "( a | b )" for a choice on the spot, "#" starts a comment. A word that begins
with an apostrophe joins the word before it ("<part> 's worn": "bearing's worn"). A rule may be a
pattern: "<was_now:v_volt>" is the rule was_now with "<$>" in it read as "<v_volt>". "<spelled>"
is a word of the grammar letter by letter. Weights are the authors' judgement of how often
people say a thing (common practice, no source).
"""

import argparse
import re
import sys
from bisect import bisect
from collections.abc import Iterator
from itertools import accumulate, pairwise
from pathlib import Path
from random import Random

GRAMMAR = Path(__file__).parent / "grammar"
START = "note"

# How often speech goes wrong, per utterance: judgement, no source.
HESITATION = 0.05  # a filler in the middle
REPEAT = 0.025  # a word or two said twice
CUT = 0.06  # the recogniser ends an utterance at any pause, so it may begin or end anywhere
FILLERS = ("er", "um", "uh", "erm")

SPELLED = "spelled"
SPELLED_LENGTHS = range(3, 10)

TOKEN = re.compile(r"<[a-z0-9_]+(?::[a-z0-9_]+)?>|<\$>|@[0-9.]+|[a-z']+|[|()\n]")
RULE_LINE = re.compile(r"^([a-z0-9_]+) =(.*)$")


class GrammarError(Exception):
    """A grammar file that cannot be used; the text names the file, the rule and the reason."""


class Rule:
    """Alternatives with cumulative weights; an alternative is a tuple of words and Rules."""

    __slots__ = ("alternatives", "cumulative", "name", "total")

    def __init__(self, name: str) -> None:
        self.name = name
        self.alternatives: list[tuple] = []
        self.cumulative: list[float] = []
        self.total = 0.0

    def set(self, weighted: list[tuple[tuple, float]]) -> None:
        self.alternatives = [items for items, _ in weighted]
        self.cumulative = list(accumulate(weight for _, weight in weighted))
        self.total = self.cumulative[-1]


class Grammar:
    """Rules by name, read from every text file of a folder."""

    def __init__(self, folder: Path = GRAMMAR) -> None:
        self.bodies = _read_bodies(folder)
        self.rules: dict[str, Rule] = {SPELLED: Rule(SPELLED)}
        for name, body in self.bodies.items():
            if "<$>" not in body:
                self.rule(name)
        words = sorted(word for word in self.words(START) if len(word) in SPELLED_LENGTHS)
        letters = [tuple(word.replace("'", "")) for word in words]
        self.rules[SPELLED].set([(spelling, 1.0) for spelling in letters] or [((), 1.0)])

    def rule(self, name: str) -> Rule:
        """The rule of that name ("was_now:v_volt" for a pattern), read when first asked for."""
        if name not in self.rules:
            pattern, _, filling = name.partition(":")
            if pattern not in self.bodies or (filling and filling not in self.bodies):
                raise GrammarError(f"<{name}> is no rule")
            self.rules[name] = Rule(name)
            body = self.bodies[pattern].replace("<$>", f"<{filling}>")
            self.rules[name].set(_Parser(name, body, self).alternatives())
        return self.rules[name]

    def words(self, start: str = START) -> set[str]:
        """Every word that the rule called start can lead to."""
        found = set()
        for rule in self._reached(start):
            for items in rule.alternatives:
                words = {item for item in items if isinstance(item, str)}
                endings = {word for word in words if word[0] == "'"}
                found |= words - endings
                for before, after in pairwise(items):
                    if after in endings:
                        found |= {word + after for word in _last_words(before)}
        return found

    def _reached(self, start: str) -> set[Rule]:
        reached, queue = set(), [self.rule(start)]
        while queue:
            rule = queue.pop()
            if rule not in reached:
                reached.add(rule)
                queue += [i for items in rule.alternatives for i in items if isinstance(i, Rule)]
        return reached

    def unused(self) -> set[str]:
        """Names of rules that no utterance can reach."""
        names = {rule.name.partition(":")[0] for rule in self._reached(START)}
        return self.bodies.keys() - names

    def sample(self, random: Random, start: str = START) -> list[str]:
        """One utterance (words), as the rule gives it, without slips of the tongue."""
        out: list[str] = []
        _expand(self.rule(start), random.random, out)
        return out


def _last_words(item: str | Rule) -> set[str]:
    """Words that an item of an alternative can end with."""
    if isinstance(item, str):
        return {item}
    return set().union(*(_last_words(items[-1]) for items in item.alternatives if items))


def _expand(rule: Rule, uniform, out: list[str]) -> None:
    index = bisect(rule.cumulative, uniform() * rule.total)
    for item in rule.alternatives[index]:
        if item.__class__ is not str:
            _expand(item, uniform, out)
        elif item[0] == "'":
            out[-1] += item
        else:
            out.append(item)


def _read_bodies(folder: Path) -> dict[str, str]:
    bodies: dict[str, str] = {}
    name = None
    for path in sorted(folder.glob("*.txt")):
        for number, raw in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            line = raw.partition("#")[0].rstrip()
            rule = RULE_LINE.match(line)
            if rule and rule[1] in bodies:
                raise GrammarError(f"{path.name} line {number}: rule {rule[1]} is there twice")
            if rule:
                name, line = rule[1], rule[2]
                bodies[name] = line
            elif line and (name is None or not line.startswith(" ")):
                raise GrammarError(f"{path.name} line {number}: neither a rule nor indented")
            elif line:
                bodies[name] += "\n" + line
    return bodies


class _Parser:
    """Reads one rule's body into weighted alternatives."""

    def __init__(self, name: str, body: str, grammar: Grammar) -> None:
        left_over = TOKEN.sub("", body).strip()
        if left_over:
            raise GrammarError(f"rule {name}: cannot read {left_over!r}")
        self.name, self.grammar = name, grammar
        self.tokens = TOKEN.findall(body)
        self.position = 0

    def alternatives(self) -> list[tuple[tuple, float]]:
        found: list[tuple[tuple, float]] = []
        items: list = []
        weight, newline_only = 1.0, True
        while self.position < len(self.tokens):
            token = self.tokens[self.position]
            self.position += 1
            if token == ")":
                break
            if token in "|\n":
                # A line break after "|" or at the start adds no empty alternative.
                if items or (token == "|" and newline_only):
                    found.append((tuple(items), weight))
                items, weight, newline_only = [], 1.0, token != "|"
            elif token[0] == "@":
                weight = float(token[1:])
            else:
                items.append(self._item(token))
        if items or not newline_only:
            found.append((tuple(items), weight))
        return found

    def _item(self, token: str):
        if token == "(":
            group = Rule(f"{self.name} group")
            group.set(self.alternatives())
            return group
        if token[0] != "<":
            return token
        return self.grammar.rule(token[1:-1])


def with_slips(words: list[str], random: Random) -> list[str]:
    """The utterance with an occasional hesitation, repetition or cut, as people speak."""
    if random.random() < HESITATION:
        place = random.randrange(len(words) + 1)
        words = [*words[:place], random.choice(FILLERS), *words[place:]]
    if random.random() < REPEAT:
        place = random.randrange(len(words))
        again = words[place : place + random.choice((1, 1, 2))]
        words = words[:place] + again + words[place:]
    if len(words) > 3 and random.random() < CUT:
        first = random.choice((0, random.randrange(len(words) - 2)))
        words = words[first : random.randrange(first + 2, len(words) + 1)]
    return words


def utterances(seed: int, count: int, grammar: Grammar | None = None) -> Iterator[list[str]]:
    """count utterances (lists of words); the same seed and grammar give the same ones."""
    grammar = grammar or Grammar()
    random = Random(seed)
    made = 0
    while made < count:
        words = grammar.sample(random)
        if words:
            yield with_slips(words, random)
            made += 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--sentences", type=int, default=1000)
    options = parser.parse_args()
    for words in utterances(options.seed, options.sentences):
        sys.stdout.write(" ".join(words) + "\n")


if __name__ == "__main__":
    main()
