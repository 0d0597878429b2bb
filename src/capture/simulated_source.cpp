#include "capture/simulated_source.h"

#include "capture/capture_ring.h"
#include "core/latest.h"
#include "core/thread_role.h"

#include <thread>

namespace rankwright::capture {

namespace {

using Clock = std::chrono::steady_clock;

// A machine that stalls longer (sleep, a debugger) takes up again from now.
constexpr auto kMostBehind = std::chrono::seconds{1};

class Simulation final : public SimulatedSource {
  public:
    Simulation(const organ::Instrument& instrument,
               const simulator::Chamber::Parameters& parameters, const SimulationOptions& options)
        : chamber_(instrument, parameters), options_(options) {
        block_.rate = parameters.rate;
        block_.channels = static_cast<std::uint32_t>(parameters.channels);
        block_.frames = kBlockFrames;
        if (options_.paced)
            thread_ = std::jthread([this](const std::stop_token& stop) { run(stop); });
    }

    bool read(CaptureBlock& block, Seconds patience) override {
        assert_thread(ThreadRole::listening);
        if (options_.paced) return ring_.read(block, patience);
        render_next();
        block = block_;
        return true;
    }

    SourceStatus status() const override {
        SourceStatus status;
        status.state = SourceState::running;
        status.name = "simulated chamber";
        status.dropped_frames = ring_.dropped_frames();
        return status;
    }

    void post(Order order) override { orders_.post(std::move(order)); }

  private:
    void render_next() {
        for (const Order& order : orders_.take())
            order(chamber_);
        if (options_.each_block) options_.each_block(chamber_, duration(next_.value, block_.rate));
        chamber_.render(std::span(block_.samples).first(kBlockFrames * block_.channels));
        block_.first = next_;
        next_ = next_ + static_cast<std::int64_t>(kBlockFrames);
    }

    void run(const std::stop_token& stop) {
        auto due = Clock::now();
        const auto step = std::chrono::duration_cast<Clock::duration>(
            duration(static_cast<std::int64_t>(kBlockFrames), block_.rate));
        while (!stop.stop_requested()) {
            render_next();
            due += step;
            std::this_thread::sleep_until(due);
            ring_.push(block_);
            if (Clock::now() - due > kMostBehind) due = Clock::now();
        }
    }

    simulator::Chamber chamber_;
    SimulationOptions options_;
    CaptureRing ring_;
    Mailbox<Order> orders_;
    CaptureBlock block_;
    FrameIndex next_;
    std::jthread thread_;  // last: stops before anything it uses goes
};

}  // namespace

std::unique_ptr<SimulatedSource> open_simulated(const organ::Instrument& instrument,
                                                const simulator::Chamber::Parameters& parameters,
                                                const SimulationOptions& options) {
    return std::make_unique<Simulation>(instrument, parameters, options);
}

}  // namespace rankwright::capture
