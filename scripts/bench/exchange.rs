//! One query over a pseudo-terminal through the port's owner task, against a
//! bare write and read on the same kind of pseudo-terminal with the same echo
//! at its far end. The two alternate, since bare times fall into modes.
