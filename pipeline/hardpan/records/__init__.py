"""What crosses a wall between rooms: records that hold and check, and never compute."""
