"""Takes readings in, records them, steps the alarms and offers them to whoever looks on."""
