// The words of instrument files for the enumerations of the organ.
#pragma once

#include "organ/instrument.h"
#include "storage/table_reader.h"

#include <array>

namespace rankwright::storage {

inline constexpr std::array<Word<organ::PipeKind>, 9> kKindWords{
    {{"open", organ::PipeKind::open},
     {"tapered", organ::PipeKind::tapered},
     {"stopped", organ::PipeKind::stopped},
     {"chimney", organ::PipeKind::chimney},
     {"harmonic", organ::PipeKind::harmonic},
     {"string", organ::PipeKind::string},
     {"full-length reed", organ::PipeKind::reed_full},
     {"half-length reed", organ::PipeKind::reed_half},
     {"short reed", organ::PipeKind::reed_short}}};

inline constexpr std::array<Word<organ::Material>, 2> kMaterialWords{
    {{"metal", organ::Material::metal}, {"wood", organ::Material::wood}}};

inline constexpr std::array<Word<organ::TuningDevice>, 13> kDeviceWords{
    {{"sleeve", organ::TuningDevice::sleeve},
     {"slide", organ::TuningDevice::slide},
     {"cap", organ::TuningDevice::cap},
     {"stopper", organ::TuningDevice::stopper},
     {"cone", organ::TuningDevice::cone},
     {"scroll", organ::TuningDevice::scroll},
     {"shade", organ::TuningDevice::shade},
     {"flap", organ::TuningDevice::flap},
     {"ears", organ::TuningDevice::ears},
     {"wire", organ::TuningDevice::reed_wire},
     {"resonator sleeve", organ::TuningDevice::resonator_sleeve},
     {"resonator scroll", organ::TuningDevice::resonator_scroll},
     {"cut to length", organ::TuningDevice::none}}};

inline constexpr std::array<Word<organ::ChestArrangement>, 4> kChestWords{
    {{"chromatic", organ::ChestArrangement::chromatic},
     {"sides, tall at the ends", organ::ChestArrangement::sides_tall_out},
     {"sides, tall in the middle", organ::ChestArrangement::sides_tall_in},
     {"thirds", organ::ChestArrangement::thirds}}};

inline constexpr std::array<Word<organ::Loudness>, 4> kLoudnessWords{
    {{"soft", organ::Loudness::soft},
     {"medium", organ::Loudness::medium},
     {"loud", organ::Loudness::loud},
     {"very loud", organ::Loudness::very_loud}}};

}  // namespace rankwright::storage
