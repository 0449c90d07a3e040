"""The generated pages are current, and every rule has one."""

import re
import subprocess
import sys
from pathlib import Path

from deskproof.families import rules

ROOT = Path(__file__).parents[1]


def test_generated_pages_are_current():
    done = subprocess.run(
        [sys.executable, "tools/make_docs.py", "--check"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_every_rule_has_a_page():
    assert rules()
    for rule in rules():
        assert rule.title in (ROOT / "docs" / "findings" / f"{rule.id}.md").read_text("utf-8").lower().replace(
            "\n", " "
        )


def test_changelog_and_version_agree():
    import deskproof

    assert f"## {deskproof.__version__}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


def test_no_page_names_a_path_of_one_machine():
    own = Path(__file__)
    for path in [
        *ROOT.glob("*.md"),
        *ROOT.glob("docs/**/*.md"),
        *ROOT.glob("src/**/*.py"),
        *ROOT.glob("tests/**/*.py"),
    ]:
        if path != own:
            text = path.read_text("utf-8")
            assert not re.search(r"/(?:root|tmp)/", text), path
