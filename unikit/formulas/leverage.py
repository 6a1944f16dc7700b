"""What a torque at the crank becomes at the wheel, with the gear and with assist."""
