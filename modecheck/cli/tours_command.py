"""`modecheck tours`: bench tests from the model."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from modecheck.cli.exit_codes import exit_code, exit_codes
from modecheck.cli.options import choice_option, device_argument, exploring_options
from modecheck.cli.outputs import json_option, markdown_option, need_all_writable, present

if TYPE_CHECKING:
    from fractions import Fraction

    from modecheck.engine.choice import Search
    from modecheck.product.ir import Product
    from modecheck.report.document_tree import Block


def parsed_patience(
    _ctx: click.Context, _param: click.Parameter, value: str | None
) -> Fraction | None:
    """`5 s` or `10min` in seconds."""
    if value is None:
        return None
    from fractions import Fraction

    from modecheck.model.phrases import DURATION, SECONDS

    match = DURATION.fullmatch(value.strip())
    if match is None or len(match[1]) > 12:
        raise click.BadParameter(f"{value!r} is not a duration, such as 500ms, 5s or 2min")
    return Fraction(match[1]) * SECONDS[match[2]]


@click.command(
    "tours",
    short_help="Make a bench test: what to do and what to observe.",
    epilog=exit_codes(
        "the test is complete",
        incomplete="a bound was hit, or no such test exists; the output says why",
    ),
)
@device_argument
@choice_option
@click.option(
    "--chip",
    "chips",
    multiple=True,
    metavar="CHIP",
    help="Cover every rule of this chip instead of every action. May be given several times.",
)
@click.option(
    "--distinguish",
    is_flag=True,
    help="Make test sequences that detect every wrong next state and output of a chip (of each "
    "chip, without --chip).",
)
@click.option(
    "--extra",
    type=click.IntRange(min=0, max=3),
    metavar="N",
    help="With --distinguish: also detect a chip that has up to N states more than the model "
    "(default: 0). Each one multiplies the number of sequences by the number of inputs.",
)
@click.option("--closed", is_flag=True, help="End the test in the state in which it began.")
@click.option(
    "--patience",
    callback=parsed_patience,
    metavar="TIME",
    help="Wait only for timers of up to TIME, such as 5s; waiting for a longer one becomes an "
    "action of the test.",
)
@click.option(
    "--sitting",
    type=click.IntRange(min=10),
    metavar="N",
    help="Split a longer walk over all actions into sequences of at most about N steps, each "
    "starting at power-on (default: 40; not with --closed).",
)
@json_option("test")
@markdown_option
@exploring_options
def command(
    device: str,
    chosen: dict[str, str],
    chips: tuple[str, ...],
    distinguish: bool,
    extra: int | None,
    closed: bool,
    patience: Fraction | None,
    sitting: int | None,
    json_file: str | None,
    markdown_file: str | None,
    search: Search,
) -> None:
    """Make a bench test from DEVICE: what to do and what to observe.

    The shortest walk that performs every action of a person in every state in which the device
    has settled.
    """
    import sys

    from modecheck.cli.exploring import told_variants_of
    from modecheck.product.composition import compose
    from modecheck.report.whole_files import write_json

    if closed and (chips or distinguish):
        raise click.UsageError("--closed cannot be combined with --chip or --distinguish")
    if sitting is not None and (closed or chips or distinguish):
        raise click.UsageError("--sitting cannot be combined with --closed, --chip, --distinguish")
    if distinguish and patience is not None:
        raise click.UsageError("--patience cannot be combined with --distinguish")
    if extra is not None and not distinguish:
        raise click.UsageError("--extra needs --distinguish")
    need_all_writable({"json": json_file, "markdown": markdown_file})
    product = compose(told_variants_of(device, chosen, every=False)[0])
    names = _known(product, chips)
    if distinguish:
        data, report = _distinguishing(product, names, extra or 0)
    else:
        data, report = _touring(
            product, names if chips else [], search, patience, None if closed else sitting or 0
        )
    if json_file is not None:
        write_json(json_file, data)
    present(report, markdown_file, f"Bench test of {_named(product)}")
    sys.exit(exit_code(found=False, complete=data["complete"]))


def _known(product: Product, chips: tuple[str, ...]) -> list[str]:
    """The chips that were named, or all; raises `InvalidInput` for an unknown name."""
    from modecheck.model.errors import Notebook

    known = [form.name for form in product.chips if not form.actor]
    notes = Notebook()
    for name in chips:
        if name not in known:
            notes.add(f"the device has no chip {name!r}", None, word=name, choices=known)
    notes.raise_if_any()
    return list(dict.fromkeys(chips)) or known


def _named(product: Product) -> str:
    """The device, with the options that were chosen."""
    device = product.device
    return f"{device.name} with {device.choices}" if device.choices else device.name


def _touring(
    product: Product,
    chips: list[str],
    search: Search,
    patience: Fraction | None,
    sitting: int | None,
) -> tuple[dict[str, Any], list[Block]]:
    import sys

    from modecheck.cli.exploring import reporter_for
    from modecheck.report.bench_json import tests_as_json
    from modecheck.report.bench_report import tests_report
    from modecheck.tours.rule_test import rule_tests
    from modecheck.tours.settled_tour import bench_test
    from modecheck.tours.sittings import SITTING

    with reporter_for(sys.stderr, "planning tests") as reporter:
        if chips:
            tests = rule_tests(product, chips, search=search, patience=patience, reporter=reporter)
        else:
            test = bench_test(
                product,
                limits=search.limits,
                patience=patience,
                closed=sitting is None,
                sitting=sitting or SITTING,
            )
            tests = [test]
    return tests_as_json(product.device, tests), tests_report(_named(product), tests)


def _distinguishing(
    product: Product, chips: list[str], extra: int
) -> tuple[dict[str, Any], list[Block]]:
    from modecheck.report.bench_json import words_as_json
    from modecheck.report.bench_report import words_report
    from modecheck.tours.chip_words import words_for

    found = [words_for(product, chip, extra=extra) for chip in chips]
    return words_as_json(product.device, found), words_report(_named(product), found)
