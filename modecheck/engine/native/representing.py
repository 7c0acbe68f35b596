"""Representatives as machine code: `represented` makes the records of `successors`, then exchanges
the state in each for its representative.

Written after `modecheck.engine.reductions.representatives`. The permutation that leads back is
kept above the bits of the chips that moved. Of listed images the one with the least words is taken,
where the interpreter takes the one with the least values: which state stands for its images does
not matter.
"""

from __future__ import annotations

from modecheck.engine.language import assembly as ir
from modecheck.engine.native.frame import DRIVEN, FAILED, I64, RECORD_EXTRA, constant
from modecheck.engine.reductions.representatives import (
    PLACE_BITS,
    Listed,
    Representatives,
    SortedBlocks,
)
from modecheck.product.bit_packing import WordLayout
from modecheck.product.ir import Product
from modecheck.product.renaming import Renaming

WORD = 64


def why_not(product: Product, layout: WordLayout, representatives: Representatives) -> str:
    """What is too much for this code, or nothing."""
    if len(product.chips) + representatives.turn_bits > WORD:
        return "it has too many chips beside so many identical units"
    for part in representatives.parts:
        if isinstance(part, SortedBlocks):
            bits = sum(layout.places[field].bits for field in part.blocks[0])
            if bits + PLACE_BITS > WORD:
                return "its identical units have too many variables"
    return ""


def key_of(representatives: Representatives) -> object:
    """Whatever the code depends on."""
    return [
        part.blocks if isinstance(part, SortedBlocks) else [one.key for one in _backwards(part)]
        for part in representatives.parts
    ]


def _backwards(part: object) -> tuple[Renaming, ...]:
    assert isinstance(part, Listed)
    return part.backwards


def representative(
    state: tuple[int, ...], layout: WordLayout, representatives: Representatives
) -> tuple[int, ...]:
    """The state that the code would put in the place of a state."""
    for part in representatives.parts:
        if isinstance(part, SortedBlocks):
            state, _ = part.least(state)
        else:
            images = [one.state(state) for one in _backwards(part)]
            state = min(images, key=lambda image: layout.pack(image)[::-1])
    return state


class RepresentedCode:
    """Writes the function `represented`."""

    def __init__(
        self, product: Product, layout: WordLayout, module: ir.Module, plan: Representatives
    ) -> None:
        self._product = product
        self._layout = layout
        self._plan = plan
        (self._successors,) = (one for one in module.functions if one.name == "successors")
        self._function = ir.Function(module, "represented", I64, (I64, I64, I64))
        self._builder = ir.Builder(self._function, self._function.append_basic_block("entry"))

    def write(self) -> None:
        """Call `successors`, then go through the records."""
        builder, size = self._builder, 8 * (self._layout.words + RECORD_EXTRA)
        out = self._function.args[1]
        result = builder.call(self._successors, self._function.args)
        count = builder.and_(result, constant(DRIVEN - 1))
        end = builder.add(out, builder.mul(count, constant(size)))
        before = builder.block
        loop, body, onward, done = (
            self._function.append_basic_block(name) for name in ("loop", "body", "onward", "done")
        )
        builder.branch(loop)
        builder.position_at_end(loop)
        place = builder.phi(I64)
        place.add_incoming(out, before)
        builder.cbranch(builder.icmp_unsigned("==", place, end), done, body)
        builder.position_at_end(body)
        record = builder.inttoptr(place, I64.as_pointer())
        label = builder.load(builder.gep(record, [constant(self._layout.words)]))
        failed = builder.icmp_unsigned("!=", builder.and_(label, constant(FAILED)), constant(0))
        rewrite = self._function.append_basic_block("rewrite")
        builder.cbranch(failed, onward, rewrite)
        builder.position_at_end(rewrite)
        self._rewrite(record)
        builder.branch(onward)
        builder.position_at_end(onward)
        place.add_incoming(builder.add(place, constant(size)), onward)
        builder.branch(loop)
        builder.position_at_end(done)
        builder.ret(result)

    def _rewrite(self, record: ir.Value) -> None:
        builder, count = self._builder, self._layout.words
        addresses = [builder.gep(record, [constant(n)]) for n in range(count)]
        words = [builder.load(address) for address in addresses]
        permutation, shift = constant(0), len(self._product.chips)
        for part in self._plan.parts:
            if isinstance(part, SortedBlocks):
                words, own = self._sorted(part, words)
            else:
                words, own = self._least(_backwards(part), words)
            permutation = builder.or_(permutation, builder.shl(own, constant(shift)))
            shift += part.turn_bits
        for address, word in zip(addresses, words, strict=True):
            builder.store(word, address)
        moved = builder.gep(record, [constant(count + 1)])
        builder.store(builder.or_(builder.load(moved), permutation), moved)

    def _stored(self, words: list[ir.Value], field: int) -> ir.Value:
        """The bits of a field."""
        place = self._layout.places[field]
        shifted = self._builder.lshr(words[place.word], constant(place.shift))
        return self._builder.and_(shifted, constant(place.mask))

    def _with(self, words: list[ir.Value], stored: dict[int, ir.Value]) -> list[ir.Value]:
        """The words with the bits of some fields replaced."""
        builder, result = self._builder, list(words)
        for number in range(len(words)):
            fields = [f for f in stored if self._layout.places[f].word == number]
            cleared = 0
            for field in fields:
                place = self._layout.places[field]
                cleared |= place.mask << place.shift
            if not cleared:
                continue
            word = builder.and_(words[number], constant(~cleared))
            for field in fields:
                shift = constant(self._layout.places[field].shift)
                word = builder.or_(word, builder.shl(stored[field], shift))
            result[number] = word
        return result

    def _least(
        self, backwards: tuple[Renaming, ...], words: list[ir.Value]
    ) -> tuple[list[ir.Value], ir.Value]:
        """Of all images, the one with the least words; the first of several."""
        builder = self._builder
        best, permutation = words, constant(0)
        for number, renaming in enumerate(backwards):
            if renaming.is_identity:
                continue
            moved = {
                renaming.fields[field]: self._renamed(words, field, renaming)
                for field in sorted(renaming.moved)
            }
            image = self._with(words, moved)
            less = self._is_less(image, best)
            best = [builder.select(less, new, old) for new, old in zip(image, best, strict=True)]
            permutation = builder.select(less, constant(number), permutation)
        return best, permutation

    def _renamed(self, words: list[ir.Value], field: int, renaming: Renaming) -> ir.Value:
        """The bits that a field's value becomes."""
        stored, values = self._stored(words, field), renaming.values[field]
        if values is None:
            return stored
        low = self._product.fields[renaming.fields[field]].low
        result = constant(values[0] - low)
        for number, value in enumerate(values[1:], start=1):
            is_it = self._builder.icmp_unsigned("==", stored, constant(number))
            result = self._builder.select(is_it, constant(value - low), result)
        return result

    def _is_less(self, one: list[ir.Value], two: list[ir.Value]) -> ir.Value:
        builder = self._builder
        result = ir.Value(ir.BIT, "0")
        for a, b in zip(reversed(one), reversed(two), strict=True):
            same = builder.icmp_unsigned("==", a, b)
            result = builder.select(same, result, builder.icmp_unsigned("<", a, b))
        return result

    def _sorted(self, part: SortedBlocks, words: list[ir.Value]) -> tuple[list[ir.Value], ir.Value]:
        """The blocks in ascending order: each packed into one number with its place, sorted by
        odd-even transposition (Knuth, The art of computer programming 3, section 5.3.4).
        """
        builder, count = self._builder, len(part.blocks)
        keys = [self._packed(words, block, n) for n, block in enumerate(part.blocks)]
        for round_ in range(count):
            for place in range(round_ % 2, count - 1, 2):
                one, two = keys[place], keys[place + 1]
                ordered = builder.icmp_unsigned("<", one, two)
                keys[place] = builder.select(ordered, one, two)
                keys[place + 1] = builder.select(ordered, two, one)
        stored: dict[int, ir.Value] = {}
        permutation = constant(0)
        for place, (block, key) in enumerate(zip(part.blocks, keys, strict=True)):
            source = builder.and_(key, constant((1 << PLACE_BITS) - 1))
            permutation = builder.or_(
                permutation, builder.shl(source, constant(PLACE_BITS * place))
            )
            shift = PLACE_BITS
            for field in reversed(block):
                where = self._layout.places[field]
                if where.bits:
                    bits = builder.lshr(key, constant(shift))
                    stored[field] = builder.and_(bits, constant(where.mask))
                    shift += where.bits
        return self._with(words, stored), permutation

    def _packed(self, words: list[ir.Value], block: tuple[int, ...], number: int) -> ir.Value:
        builder, key = self._builder, constant(0)
        for field in block:
            bits = self._layout.places[field].bits
            if bits:
                shifted = builder.shl(key, constant(bits))
                key = builder.or_(shifted, self._stored(words, field))
        return builder.or_(builder.shl(key, constant(PLACE_BITS)), constant(number))
