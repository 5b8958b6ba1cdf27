"""What every other folder stands on: conventions, values with uncertainty, errors."""
