"""A session recorded against tandem: how long an editor waits for completion and for diagnostics.

`python -m tests.benchmarks.editor` starts the language server as an editor does, over standard
input and output, opens tandem with all its chips, and makes 200 edits as somebody types them,
letter by letter, each followed by a request for completion. Times run from sending the change to
getting the answer; diagnostics are those that belong to this version of the text. `--edits` is
their number, and `--check` lets checks begin between edits. The last line is what the server
itself computed, which does not depend on what else the machine does.
"""

from __future__ import annotations

import argparse
import asyncio
import resource
import statistics
import sys
import time
from pathlib import Path

from lsprotocol import types as lsp
from pygls.lsp.client import LanguageClient

from tests.cli.running import environment

TANDEM = Path(__file__).parents[2] / "models" / "tandem"
LINES = (
    ("chips/hub.yaml", "rules:\n", "  extra: {in: radio_up, on: mode_button, to: starting}\n"),
    (
        "device.yaml",
        "requirements:\n",
        "  extra: {text: t, never: hub.state == dark and hub.usb}\n",
    ),
    ("chips/bridge.yaml", "rules:\n", '  extra: {in: quiet, on: "{side}_edge", to: telling}\n'),
    ("device.yaml", "modes:\n", "  extra: hub.state in [securing, starting]\n"),
)
"""Where a line is typed: in which file, behind what, and the line. It is then deleted again."""


def typed(edits: int) -> list[tuple[str, str, int]]:
    """The texts that come one after the other: the file, the text, and the offset of the cursor."""
    found: list[tuple[str, str, int]] = []
    while len(found) < edits:
        for name, behind, line in LINES:
            text = (TANDEM / name).read_text(encoding="utf-8")
            at = text.rindex(f"\n{behind}") + 1 + len(behind)
            ends = (*range(1, len(line) + 1), 0)
            found += ((name, text[:at] + line[:end] + text[at:], at + end) for end in ends)
    return found[:edits]


async def recorded(edits: int, *, check: bool) -> dict[str, list[float]]:
    """The seconds of each answer, by what was asked for."""
    client = LanguageClient("benchmark", "1")
    begun = time.perf_counter()
    command = sys.executable, "-m", "modecheck", "language-server"
    await client.start_io(*command, env=environment())
    await client.initialize_async(
        lsp.InitializeParams(
            capabilities=lsp.ClientCapabilities(),
            root_uri=TANDEM.as_uri(),
            initialization_options={"check": check},
        )
    )
    times: dict[str, list[float]] = {"start": [time.perf_counter() - begun]}
    seen = _Versions(client)
    versions: dict[str, int] = {}
    for path in sorted(TANDEM.rglob("*.yaml")):
        if path.parent != TANDEM or path.name == "device.yaml":
            text = path.read_text(encoding="utf-8")
            item = lsp.TextDocumentItem(path.as_uri(), "yaml", 1, text)
            client.text_document_did_open(lsp.DidOpenTextDocumentParams(item))
            versions[path.as_uri()] = 1
    await seen.wait((TANDEM / "device.yaml").as_uri(), 1)
    for name, text, offset in typed(edits):
        uri = (TANDEM / name).as_uri()
        versions[uri] += 1
        before = text[:offset].split("\n")
        begun = time.perf_counter()
        client.text_document_did_change(
            lsp.DidChangeTextDocumentParams(
                lsp.VersionedTextDocumentIdentifier(uri=uri, version=versions[uri]),
                [lsp.TextDocumentContentChangeWholeDocument(text)],
            )
        )
        await client.text_document_completion_async(
            lsp.CompletionParams(
                lsp.TextDocumentIdentifier(uri), lsp.Position(len(before) - 1, len(before[-1]))
            )
        )
        times.setdefault("completion", []).append(time.perf_counter() - begun)
        await seen.wait(uri, versions[uri])
        times.setdefault("diagnostics", []).append(time.perf_counter() - begun)
    await client.shutdown_async(None)
    client.exit(None)
    await client.stop()  # type: ignore[no-untyped-call]
    return times


class _Versions:
    """The latest version of each text of which diagnostics have come."""

    def __init__(self, client: LanguageClient) -> None:
        self._latest: dict[str, int] = {}
        self._news = asyncio.Event()

        @client.feature(  # type: ignore[untyped-decorator]
            lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS
        )
        def published(params: lsp.PublishDiagnosticsParams) -> None:
            self._latest[params.uri] = params.version or 0
            self._news.set()

    async def wait(self, uri: str, version: int) -> None:
        while self._latest.get(uri, 0) < version:
            self._news.clear()
            await self._news.wait()


def main() -> None:
    """Print the median and the worst time of each kind of answer."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--edits", type=int, default=200)
    parser.add_argument("--check", action="store_true", help="let checks begin between edits")
    given = parser.parse_args()
    times = asyncio.run(recorded(given.edits, check=given.check))
    for what, seconds in times.items():
        median, worst = statistics.median(seconds), max(seconds)
        print(f"{what:12} median {median * 1000:6.0f} ms   worst {worst * 1000:6.0f} ms")
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    each = (used.ru_utime + used.ru_stime) / given.edits
    print(f"{'processor':12} {each * 1000:6.0f} ms for each edit, the start and checks included")


if __name__ == "__main__":
    main()
