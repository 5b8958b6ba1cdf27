"""Groups of commands that are loaded when one of them is asked for, so that ``--help`` is quick."""

from __future__ import annotations

import gc
from importlib import import_module

import typer
from typer.core import TyperGroup

#: By name: the module that declares a group's commands, and what it calls them.
GROUPS = {
    "job": ("rigvision.cli.job_commands", "jobs"),
    "key": ("rigvision.cli.key_commands", "keys"),
    "practice": ("rigvision.cli.practice_commands", "practice"),
    "record": ("rigvision.cli.record_commands", "records"),
    "review": ("rigvision.cli.review_commands", "reviews"),
    "study": ("rigvision.cli.study_commands", "studies"),
    "training": ("rigvision.cli.training_commands", "training"),
}


class LaterGroup(TyperGroup):
    """Knows its own name and help; its commands are declared elsewhere."""

    def list_commands(self, ctx: typer.Context) -> list[str]:  # type: ignore[override]
        return self._declared().list_commands(ctx)

    def get_command(self, ctx: typer.Context, cmd_name: str):  # type: ignore[no-untyped-def, override]
        gc.enable()  # ``main`` turned it off for loading, and these may run long
        return self._declared().get_command(ctx, cmd_name)

    def _declared(self) -> TyperGroup:
        module, name = GROUPS[self.name or ""]
        declared = typer.main.get_command(getattr(import_module(module), name))
        assert isinstance(declared, TyperGroup)
        return declared


class PagesGroup(LaterGroup):
    """Where no command of the group is named, ``pages`` is meant."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        if args and args[0] not in ("--help", *self.list_commands(ctx)):
            args = ["pages", *args]
        return super().parse_args(ctx, args)


def later(help_text: str, group: type[LaterGroup] = LaterGroup) -> typer.Typer:
    """A group to be added under one of the names in ``GROUPS``."""
    return typer.Typer(cls=group, help=help_text, no_args_is_help=True, rich_markup_mode=None)
