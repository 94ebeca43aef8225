

def find_doubts(log, *, motor=None, propeller=None, air=None):
    return []
