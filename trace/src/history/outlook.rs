//! Where everything stood at a commit: the whole value graph, as the records had it then.
