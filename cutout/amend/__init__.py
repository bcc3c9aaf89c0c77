"""The smallest change that clears a finding."""
