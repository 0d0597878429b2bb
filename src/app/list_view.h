// The work list and the calls to come, as the window shows them.
#pragma once

#include "overlay/snapshot.h"
#include "visit/run.h"

#include <cstddef>
#include <memory>
#include <optional>

namespace rankwright::app {

/// Made anew only when the list or the pipe in hand has changed. Belongs to the listening thread.
class ListView {
  public:
    void fill(overlay::Snapshot& out, const visit::Run& run);

  private:
    std::shared_ptr<const overlay::ListPage> page_;
    bool other_job_ = false;   ///< pipes are listed that another job is for
    std::size_t entries_ = 0;  ///< of the record, when it was made
    std::optional<PipeId> at_;
};

}  // namespace rankwright::app
