"""What strangers' bytes may reach, each as one function of bytes that a fuzzer can drive.

A harness ends quietly for whatever is read or refused in a sentence; anything else it lets
through is a finding.
"""
