#include "app/json_output.h"

namespace rankwright::app {

Json reading_json(const std::optional<listening::PitchReading>& reading, SampleRate rate) {
    Json out;
    if (!reading) {
        for (const char* key : {"hz", "hz_sd", "cents_sd", "from_s", "to_s", "snr_db", "clipped"})
            out[key] = nullptr;
        out["partials"] = Json::array();
        return out;
    }
    out["hz"] = reading->pitch.value();
    out["hz_sd"] = reading->sd.value();
    out["cents_sd"] = reading->cents_sd().value();
    out["from_s"] = static_cast<double>(reading->from.value) / rate.value();
    out["to_s"] = static_cast<double>(reading->to.value) / rate.value();
    out["snr_db"] = reading->snr.value();
    out["clipped"] = reading->clipped;
    out["partials"] = Json::array();
    for (const listening::PartialLevel& partial : reading->partials)
        out["partials"].push_back(
            {{"number", partial.number}, {"level_db", partial.level.value()}});
    return out;
}

}  // namespace rankwright::app
