"""`modecheck schema`: the JSON Schema of a model, for editors."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_codes


@click.command(
    "schema",
    short_help="Print the JSON Schema of a device or of a chip file.",
    epilog=exit_codes("printed", incomplete=""),
)
@click.argument("kind", type=click.Choice(["device", "chip"]), default="device")
@click.option("--path", "path_only", is_flag=True, help="Print where the schema lies instead.")
def command(kind: str, path_only: bool) -> None:
    """Print the JSON Schema of a device file, or of a chip file.

    Editors that know YAML schemas complete and check models with it: modecheck guide shell.
    """
    from pathlib import Path

    import modecheck

    path = Path(modecheck.__file__).parent / "model" / "schema" / f"{kind}.json"
    click.echo(path if path_only else path.read_text(encoding="utf-8"), nl=path_only)
