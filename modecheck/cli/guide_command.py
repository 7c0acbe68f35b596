"""`modecheck guide`: the guide, which is part of the tool."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_codes


def _topics_from(_context: click.Context, _param: click.Parameter, word: str) -> list[str]:
    """What a shell completes a word by."""
    from modecheck.report.guide_text import TOPICS

    return [name for name in TOPICS if name.startswith(word)]


@click.command("guide", epilog=exit_codes("shown", invalid="there is no such topic", incomplete=""))
@click.argument("topic", required=False, shell_complete=_topics_from)
def command(topic: str | None) -> None:
    """Read the guide: TOPIC, or the list of all topics.

    On a terminal a topic is shown page by page; in a pipe or a file it is plain text.
    """
    import sys

    from modecheck.report.guide_text import TOPICS, topic_as_text, topics_as_text
    from modecheck.report.style import show, style_for

    style = style_for(sys.stdout)
    if topic is None:
        head = "modecheck guide TOPIC shows one of these (models/… lies in the repository):"
        show([head, *topics_as_text(style)])
    elif topic not in TOPICS:
        raise click.UsageError(_no_topic(topic))
    elif sys.stdout.isatty():
        click.echo_via_pager("\n".join(topic_as_text(topic, style)) + "\n")
    else:
        show(topic_as_text(topic, style))


def _no_topic(word: str) -> str:
    """An error that names the nearest topic, or those in which the word is explained."""
    from modecheck.model.errors import nearest_name
    from modecheck.report.guide_text import TOPICS, topics_about

    near = nearest_name(word, TOPICS)
    about = topics_about(word)
    if about:
        advice = f"{word!r} is explained in: {', '.join(about)}."
    else:
        advice = f"Did you mean {near!r}?" if near else f"The topics are {', '.join(TOPICS)}."
    return f"No topic {word!r}. {advice}"
