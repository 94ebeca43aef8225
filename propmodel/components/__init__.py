"""Single things, each by itself: air, propeller, motor, controller, pack, wire, airframe."""
