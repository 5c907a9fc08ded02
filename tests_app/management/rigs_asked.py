"""Which rigs a command is to look at: one by its name, or all."""

from argparse import ArgumentParser

from django.core.management.base import CommandError
from django.db.models import QuerySet

from equipment.models import Rig


def ask_for_rig(parser: ArgumentParser) -> None:
    """Let the command take the name of one rig."""
    parser.add_argument("--rig", default="", help="name of one rig; all without it")


def rigs_asked(name: str) -> QuerySet[Rig]:
    """Return the rig of that name, every rig without one; raises CommandError where there is none of that name."""
    rigs = Rig.objects.filter(name=name) if name else Rig.objects.all()
    if name and not rigs:
        raise CommandError(f"There is no rig named {name}.")
    return rigs
