"""``copytime explain``: short texts on terms."""

from __future__ import annotations

import sys
from datetime import datetime

import click

from copytime.cli.common import command, json_option, json_text
from copytime.cli.voice import answer, columns
from copytime.errors import ExitCode

__all__ = ["explain"]


@command("explain")
@click.argument("topic", required=False)
@json_option
def explain(topic: str | None, *, as_json: bool) -> int:
    """Explain a term: what it means, and which command shows more. Without one, list the topics.

    \b
    copytime explain             the list
    copytime explain margin      one of them
    copytime explain "GiB"       other words lead there too
    """
    from copytime.report.topics import find_topic, topic_text, topics, topics_document, topics_text

    found = None if topic is None else find_topic(topic)
    if as_json:
        now = datetime.now().astimezone().isoformat(timespec="seconds")
        answer(json_text(topics_document(now, [found] if found is not None else list(topics().values()))))
    else:
        width = min(100, columns(sys.stdout))
        answer(topics_text(width) if found is None else topic_text(found, width))
    return ExitCode.DONE
