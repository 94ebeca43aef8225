"""Where motor, propeller, controller and pack agree: at a speed, a thrust, a duty, along a throttle curve."""
