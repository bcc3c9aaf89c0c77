"""The user's own saw and hand, measured from a photograph: of the test card once sawn, and of the finished panel."""
