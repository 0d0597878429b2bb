// Reads the temperament of an instrument file.
#pragma once

#include "organ/instrument.h"
#include "storage/table_reader.h"

namespace rankwright::storage {

/// Takes "temperament" from the file's root: a built-in one by name, or a table with fifths or
/// offsets of its own. Notes what is wrong; the instrument then stays equal.
void read_temperament(TableReader& root, organ::Instrument& instrument);

}  // namespace rankwright::storage
