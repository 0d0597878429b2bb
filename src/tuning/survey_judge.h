// Inside of the survey's judging: what was heard so far and what is made of it, shared by its parts
// (placing and readings, ciphers, missing keys, speech).
#pragma once

#include "tuning/covering.h"
#include "tuning/survey.h"

#include <map>
#include <optional>
#include <set>
#include <vector>

namespace rankwright::tuning {

class SurveyJudge {
  public:
    SurveyJudge(const SurveyPlan& plan, std::vector<HeardTone> tones, SampleRate rate);
    SurveyResult judge();

  private:
    // Of all.
    Hertz target_on(const organ::Day& day, const organ::Pipe& pipe) const {
        return organ::target(*plan_.instrument, pipe, day);
    }
    const organ::Pipe& pipe_of(std::size_t tone) const {
        return by_key_.at(*placing_.tones[tone].key);
    }
    bool placed(std::size_t tone) const { return placing_.tones[tone].key.has_value(); }
    bool counts(std::size_t tone) const { return placed(tone) && !under_cipher_.contains(tone); }
    Seconds at(FrameIndex frame) const { return duration(frame - FrameIndex{}, rate_); }
    SurveyFault& fault(FaultKind kind, const std::optional<organ::Pipe>& pipe, FrameIndex where);
    Seconds sounded(const SurveyReading& reading) const {
        return duration(reading.tone.to - reading.tone.from, rate_);
    }
    std::int64_t stood(const SurveyReading& reading) const {
        return reading.tone.to - reading.tone.stood;
    }

    // Placing and readings.
    void put_in_place();
    void find_second_pipe();
    void leave_single_pipes();
    void find_strange_tones();
    bool rings(std::size_t tone) const;
    void find_pitch();
    void make_readings();
    bool same_press(const SurveyReading& before, const SurveyReading& after) const;
    void leave_out_wind();
    void find_tremulant();

    // Ciphers.
    void place_by_pitch(std::size_t tone);
    void find_ciphers();
    bool ciphers(int key) const;
    bool one_ciphers(FrameIndex when) const;
    bool covered(Hertz pitch, FrameIndex when) const;
    bool speech_hidden(const HeardTone& tone) const;

    // Missing keys.
    std::optional<double> cadence() const;
    std::vector<int> keys_between(int from, int to, int stride) const;
    void find_missing();
    bool something_between(const SurveyReading& before, const SurveyReading& after) const;
    bool plays_sides(std::size_t r) const;

    // Speech.
    void find_slips();
    void find_slow_speech();
    static bool is_overblown(const HeardTone& tone);

    const SurveyPlan& plan_;
    std::vector<HeardTone> tones_;
    SampleRate rate_;
    std::map<int, organ::Pipe> by_key_;
    Placing placing_;
    std::vector<std::size_t> ciphers_;    // the first tone of each
    std::set<std::size_t> under_cipher_;  // tones that are a cipher heard again
    std::set<int> hidden_;                // keys played under a cipher that weren't read
    organ::Day day_;
    bool tremulant_ = false, second_pipe_ = false;
    SurveyResult result_;
};

}  // namespace rankwright::tuning
