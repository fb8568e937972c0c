"""A physical plant to practise on: furnace, heat pump, humidifier, house and instruments, computed in time."""
