// How results become JSON: unknown values are null, numbers keep their digits.
#pragma once

#include "core/units.h"
#include "listening/reading.h"

#include <optional>

#include <nlohmann/json.hpp>

namespace rankwright::app {

using Json = nlohmann::ordered_json;

template <typename T>
Json or_null(const std::optional<T>& value) {
    if constexpr (requires { value->value(); })
        return value ? Json(value->value()) : Json(nullptr);
    else
        return value ? Json(*value) : Json(nullptr);
}

/// One reading with the keys of `listen`; times in seconds from the start of the file or stream.
/// Without a reading every figure is null.
Json reading_json(const std::optional<listening::PitchReading>& reading, SampleRate rate);

}  // namespace rankwright::app
