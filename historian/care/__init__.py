"""Looks after a store's folder: finds what is wrong, mends it from what is there, copies it out and back."""

from historian.care.backup import back_up
from historian.care.findings import Facts, Finding, Trouble
from historian.care.judge import judge
from historian.care.look import Progress, look
from historian.care.repair import repair
from historian.care.restore import restore

__all__ = ["Facts", "Finding", "Progress", "Trouble", "back_up", "judge", "look", "repair", "restore"]
