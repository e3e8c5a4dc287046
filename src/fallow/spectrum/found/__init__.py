"""What is found on the air: lines of the instrument, blocks, emitters, and what each looks like."""
