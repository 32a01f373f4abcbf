"""What the steps of a job from one frame to another are called, in the record and in messages."""

RAW = "field datum to computation"
REGISTER = "register to computation"
ISSUED = "computation to grid"
GEOGRAPHIC = "computation to geographic"
