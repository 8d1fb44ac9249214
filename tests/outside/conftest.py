"""What the suites share: the tally of the differential runs and the loud word about absent data."""

import collections

import pytest

import program


@pytest.fixture(scope="session")
def tally():
    """Counts over the whole session."""
    return collections.Counter()


@pytest.fixture(scope="session")
def data_folder():
    """The folder of measured curves; without it the test is skipped, and says so."""
    if not program.DATA.is_dir():
        pytest.skip(f"MEASURED DATA ABSENT: no folder {program.DATA}; set KNOWNGOOD_DATA to check against real devices")
    return program.DATA


def pytest_terminal_summary(terminalreporter):
    skipped = terminalreporter.stats.get("skipped", [])
    if skipped:
        terminalreporter.write_line(f"{len(skipped)} OUTSIDE CHECKS WERE NOT MADE:", red=True, bold=True)
        for report in skipped:
            terminalreporter.write_line(f"  {report.nodeid}: {report.longrepr[2]}", red=True)
