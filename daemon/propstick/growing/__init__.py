"""The grower's questions: functions of temperature and of crops. Pure."""
