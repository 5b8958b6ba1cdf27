"""The import graph is the data flow: each folder imports only what lies to its left."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import rigvision

PACKAGE = Path(rigvision.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))

#: From left to right; a module may import its own layer and all to its left.
LAYERS = (
    "ground",
    "world",
    "photo",
    "vision",
    "metrology",
    "decision",
    "chain",
    "report",
    "records",
    "training",
    "doctor",
    "cli",
)
#: The one command that draws photos, to practise on.
DRAWS_PHOTOS = "rigvision.cli.practice_photos"
CHAIN = ("check", "findings", "evidence", "joint", "joint_photos")


def module_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def layer_of(module: str) -> str:
    """Folder of a module, or ``chain``, or ``root`` for the package itself."""
    parts = module.split(".")
    if len(parts) == 1:
        return "root"
    if parts[1] in CHAIN:
        return "chain"
    return "cli" if parts[1] == "__main__" else parts[1]


def imported(path: Path) -> Iterator[str]:
    """Modules that a file imports, anywhere in it; names from a package count as its modules."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module or ""
            for alias in node.names:
                child = f"{node.module}.{alias.name}"
                if (PACKAGE.parent / Path(*child.split("."))).with_suffix(".py").exists():
                    yield child
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "import_module":
            yield from (a.value for a in node.args if isinstance(a, ast.Constant))


def own_imports(path: Path) -> set[str]:
    return {m for m in imported(path) if m.split(".")[0] == "rigvision"}


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_a_module_imports_only_to_its_left(path):
    layer = layer_of(module_of(path))
    if layer == "root":
        assert {layer_of(m) for m in own_imports(path)} <= {"root", "chain"}
        return
    allowed = (
        {"ground", "world", "synthetic"}
        if layer == "synthetic"
        else set(LAYERS[: LAYERS.index(layer) + 1])
    )
    if module_of(path) == DRAWS_PHOTOS:
        allowed.add("synthetic")
    wrong = {m for m in own_imports(path) if layer_of(m) not in allowed | {"root"}}
    # the package itself is its version, known everywhere to the right of the decision
    if "rigvision" in wrong:
        wrong.discard("rigvision")
    assert wrong == set()


def test_every_folder_is_a_known_layer():
    folders = {p.name for p in PACKAGE.iterdir() if p.is_dir() and any(p.glob("*.py"))}
    assert folders - {"synthetic"} <= set(LAYERS)


def test_the_graph_was_read_at_all():
    """A walker that sees nothing would pass everything."""
    edges = sum(len(own_imports(p)) for p in FILES)
    assert edges > 100
    assert "rigvision.vision.pose" in own_imports(PACKAGE / "chain.py")


def test_nothing_but_one_command_may_reach_the_photo_maker():
    for path in FILES:
        if layer_of(module_of(path)) == "synthetic" or module_of(path) == DRAWS_PHOTOS:
            continue
        assert not any(m.startswith("rigvision.synthetic") for m in own_imports(path)), path


def test_ground_knows_of_nothing_but_python_and_numpy():
    for path in (PACKAGE / "ground").glob("*.py"):
        names = {m.split(".")[0] for m in imported(path)}
        assert names <= set(sys.stdlib_module_names) | {"numpy", "rigvision"}, path


def loaded_after(statement: str) -> set[str]:
    """Modules in a fresh Python after one statement."""
    command = f"import sys; {statement}; print('\\n'.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", command], capture_output=True, text=True, check=True, timeout=60
    )
    return set(done.stdout.split())


@pytest.mark.parametrize("module", ["verdict", "turns", "reasons", "result"])
def test_the_decision_needs_no_pixels(module):
    """Not even by way of another module: no OpenCV, no Pillow, no vision, no metrology."""
    loaded = loaded_after(f"import rigvision.decision.{module}")
    assert f"rigvision.decision.{module}" in loaded
    heavy = {m for m in loaded if m.split(".")[0] in ("cv2", "PIL", "skimage", "scipy")}
    assert heavy == set()
    assert not any(m.startswith(("rigvision.vision", "rigvision.photo")) for m in loaded)


def test_the_decision_and_metrology_never_name_opencv():
    for folder in ("decision", "metrology", "ground", "world"):
        for path in (PACKAGE / folder).glob("*.py"):
            assert "cv2" not in set(imported(path)), path


def test_importing_the_package_costs_nothing():
    assert not {"numpy", "cv2", "pydantic"} & loaded_after("import rigvision")


def test_only_the_command_line_prints_or_exits():
    for path in FILES:
        if layer_of(module_of(path)) == "cli":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = getattr(getattr(node, "func", None), "id", "")
            assert called not in ("print", "exit", "quit", "input"), path
            if isinstance(node, ast.Attribute):
                assert (getattr(node.value, "id", ""), node.attr) not in {
                    ("sys", "exit"),
                    ("sys", "stdout"),
                    ("sys", "stderr"),
                    ("os", "_exit"),
                }, path


def test_only_the_outermost_door_catches_everything():
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                caught = getattr(node.type, "id", "everything")
                broad = node.type is None or caught in ("Exception", "BaseException")
                assert not broad or layer_of(module_of(path)) == "cli", path


def test_nothing_of_a_gauge_or_frame_is_written_into_the_code():
    """The demonstration rig's name or ids in a module would tie it to that rig."""
    for path in FILES:
        names = {
            n.value
            for n in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(n, ast.Constant) and isinstance(n.value, str)
        }
        assert not {n for n in names if n in ("RG-10", "DF-10")}, path
