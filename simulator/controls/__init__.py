"""The line's own controls: what lets it start, what stops it, and the short list of alarms that it shows."""

from simulator.controls.design import ControlDesign
from simulator.controls.line_control import LineControl
from simulator.controls.permissives import PERMISSIVES
from simulator.controls.view import Commands, LineView, Message, ZoneView

__all__ = ["PERMISSIVES", "Commands", "ControlDesign", "LineControl", "LineView", "Message", "ZoneView"]
