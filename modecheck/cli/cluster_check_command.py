"""`modecheck cluster-check`: whether the workers of a cluster can explore into a folder."""

from __future__ import annotations

import click

from modecheck.cli.exit_codes import exit_codes


@click.command(
    "cluster-check",
    short_help="Report whether all workers of a Dask cluster agree.",
    epilog=exit_codes(
        "all workers agree",
        found="something differs, with which a check can work",
        invalid="invalid input, or a check would refuse the cluster",
        incomplete="",
    ),
)
@click.argument("address")
@click.option(
    "--store",
    required=True,
    metavar="FOLDER",
    type=click.Path(file_okay=False),
    help="The folder that all workers must see; it is made if it is not there.",
)
def command(address: str, store: str) -> None:
    """Report whether all workers of a Dask cluster agree, before anything is begun.

    ADDRESS is the scheduler's tcp://host:port, or the file that it wrote. Compared are versions and
    code of modecheck, of Python and of what computes, processors, clocks, free disk and memory, and
    whether each worker sees in FOLDER what the others write, where nobody else may write.
    """
    import sys
    from pathlib import Path

    from modecheck.cli.exit_codes import FOUND, NOTHING_FOUND, WRONG_INPUT
    from modecheck.cli.outputs import present
    from modecheck.engine.cluster.agreement import GOOD, UNUSABLE, WARNING, examine
    from modecheck.engine.cluster.connection import Cluster
    from modecheck.engine.store.folder_trust import make_own
    from modecheck.report.cluster_report import cluster_report, worst_of

    cluster = Cluster(address)
    try:
        report = examine(cluster, make_own(Path(store)))
    finally:
        cluster.close()
    present(list(cluster_report(report, address)), None)
    codes = {GOOD: NOTHING_FOUND, WARNING: FOUND, UNUSABLE: WRONG_INPUT}
    sys.exit(codes[worst_of(report)])
