"""From what was heard on a topic while a person moved a slider to the [[listen]] settings that would read it.

The direction follows from what the person was told to do: from lowered to raised. What was not seen is not
known, and each doubt is a remark. No broker here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from bridge.adapters.broker.listen import Says, is_number, spelt, to_pointer
from bridge.adapters.broker.messages import Incoming
from bridge.adapters.doors import read_json
from bridge.core.errors import LinkError

WORDS_MAX = 12
WORD_BYTES_MAX = 120
LEAVES_MAX = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """How a topic could be read.

    Attributes:
        says: What its numbers mean; None when it has none that fit.
        words: The words seen, in their sequence.
        pointer: Where in its JSON the value is; None when it is bare.
        retained: Its sender retains.
        low: The least number seen; None without numbers.
        high: The greatest number seen.
        others: Pointers to other values that changed.
        remarks: What is not certain, in sentences.
    """

    says: Says | None = None
    words: tuple[str, ...] = ()
    pointer: str | None = None
    retained: bool = False
    low: str | None = None
    high: str | None = None
    others: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def fits(self) -> bool:
        """Whether there is anything to propose."""
        return self.says is not None or bool(self.words)


def propose(messages: Sequence[Incoming]) -> Proposal:
    """Return how the messages could be read; each is from the same topic, in its sequence."""
    if not messages:
        return Proposal(remarks=("nothing was published there meanwhile; check how the topic is spelt",))
    texts = [_bare(each.payload) for each in messages]
    documents = [_document(each.payload) for each in messages]
    bare = [text for text, document in zip(texts, documents, strict=True) if document is None]
    if not bare:
        found = _in_documents([document for document in documents if document is not None])
    else:
        found = _of_texts([text for text in bare if text is not None])
        if len(bare) < len(messages) or None in bare:
            found = _remarked(found, "some messages are of another kind and would be refused")
    return replace(found, retained=any(each.retained for each in messages))


def _bare(payload: bytes) -> str | None:
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError:
        return None
    return text if text and text.isprintable() and len(payload) <= WORD_BYTES_MAX else None


def _document(payload: bytes) -> tuple[object] | None:
    """Return the JSON value in a box, when it is one that needs a pointer."""
    try:
        value = read_json(payload, where="the topic")
    except LinkError:
        return None
    return (value,) if isinstance(value, dict | list | str) else None


def _in_documents(documents: list[tuple[object]]) -> Proposal:
    by_pointer: dict[str, list[str]] = {}
    for (document,) in documents:
        for pointer, text in _leaves(document):
            by_pointer.setdefault(pointer, []).append(text)
    changed = {pointer: texts for pointer, texts in by_pointer.items() if len(set(texts)) > 1}
    readings = {pointer: _of_texts(texts) for pointer, texts in (changed or by_pointer).items()}
    fitting = {pointer: found for pointer, found in readings.items() if found.fits}
    if not fitting:
        return Proposal(remarks=("nothing in these documents reads like a slider or a few words",))
    best = max(fitting, key=lambda pointer: _rank(fitting[pointer], by_pointer[pointer]))
    others = tuple(pointer for pointer in fitting if pointer != best)
    found = replace(fitting[best], pointer=best, others=others)
    return found if changed else _remarked(found, "nothing changed in the document while it was watched")


def _rank(found: Proposal, texts: list[str]) -> tuple[bool, float, int]:
    """Return what speaks for a value: it is a number, it covers its range, it took many values."""
    reach = 0.0
    if found.says is not None and found.low is not None and found.high is not None:
        reach = float((Decimal(found.high) - Decimal(found.low)) / found.says.full)
    return found.says is not None, reach, len(set(texts))


def _leaves(document: object) -> Iterator[tuple[str, str]]:
    waiting: list[tuple[tuple[str, ...], object]] = [((), document)]
    seen = 0
    while waiting and seen < LEAVES_MAX:
        way, value = waiting.pop(0)
        seen += 1
        if isinstance(value, dict):
            waiting += [((*way, key), inner) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [((*way, str(index)), inner) for index, inner in enumerate(value)]
        elif value is not None:
            yield to_pointer(way), spelt(value)


def _of_texts(texts: Sequence[str]) -> Proposal:
    numbers = [Decimal(text) for text in texts if is_number(text)]
    words = tuple(dict.fromkeys(text for text in texts if not is_number(text)))
    visible = all(word.isprintable() and 0 < len(word.encode()) <= WORD_BYTES_MAX for word in words)
    if len(words) > WORDS_MAX or not visible:
        return Proposal(remarks=(f"{len(words)} different texts are more than a few words",))
    if set(numbers) <= {Decimal(0), Decimal(1)}:
        said = tuple(dict.fromkeys(texts))
        remark = "only 0 and 1 were seen, so they are taken as words; if this is a slider, move it slowly"
        return Proposal(words=said, remarks=(remark,) if numbers else ())
    return replace(_of_numbers(numbers), words=words)


def _of_numbers(numbers: Sequence[Decimal]) -> Proposal:
    low, high = min(numbers), max(numbers)
    kind = _kind(numbers)
    seen = Proposal(low=_plain(low), high=_plain(high))
    if kind is None:
        remark = (
            f"numbers from {low:f} to {high:f} fit neither percent (0 to 100), fraction (0 to 1) nor byte"
        )
        return replace(seen, remarks=(f"{remark} (0 to 255, whole)",))
    first, last = numbers[0], numbers[-1]
    says = Says(f"{kind} {'closed' if last < first else 'open'}")
    other = Says(f"{kind} {'open' if says.closed else 'closed'}")
    if first == last:
        remark = f'the direction is not known: the first and the last were both {first:f}; or "{other}"'
    else:
        went = "fell" if last < first else "rose"
        remark = f'they {went} from {first:f} to {last:f} on the way to raised; if you lowered it: "{other}"'
    found = replace(seen, says=says, remarks=(remark,))
    if high < says.full:
        found = _remarked(found, f"the highest was {high:f}; at the end of a {kind} slider it is {says.full}")
    return found


def _kind(numbers: Sequence[Decimal]) -> str | None:
    whole = all(each == each.to_integral_value() for each in numbers)
    if min(numbers) < 0 or max(numbers) > 255 or (max(numbers) > 100 and not whole):
        return None
    if max(numbers) > 100:
        return "byte"
    return "fraction" if max(numbers) <= 1 else "percent"


def _plain(value: Decimal) -> str:
    return f"{value:f}"


def _remarked(found: Proposal, remark: str) -> Proposal:
    return replace(found, remarks=(*found.remarks, remark))
