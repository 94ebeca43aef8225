def flight_doubts(log):
    return []
