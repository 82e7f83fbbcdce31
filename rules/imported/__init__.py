"""Alarm lists that panels wrote: a machine's own alarms of before, or of a machine that cannot be asked."""

from rules.imported.form import AlarmListForm, Given, form_of
from rules.imported.listed import AlarmList, read_alarm_list
from rules.imported.told import entries_of

__all__ = ["AlarmList", "AlarmListForm", "Given", "entries_of", "form_of", "read_alarm_list"]
