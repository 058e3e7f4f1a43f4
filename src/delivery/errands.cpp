#include "delivery/errands.h"

#include "base/run_command.h"

namespace sendworthy::delivery {

Errands::Errands(std::string command, double limit_s, std::function<void(std::string_view)> failed)
    : command_(std::move(command)), limit_s_(limit_s), failed_(std::move(failed)), thread_([this] { work(); }) {}

Errands::~Errands() {
  {
    const std::lock_guard lock(mutex_);
    over_ = true;
  }
  something_.notify_all();
  thread_.join();
}

void Errands::add(Errand errand) {
  {
    const std::lock_guard lock(mutex_);
    if (line_.size() < kMostWaiting) {
      line_.push_back(std::move(errand));
      something_.notify_one();
      return;
    }
  }
  fail(errand.path, "was not run, since " + std::to_string(kMostWaiting) + " others wait");
}

bool Errands::busy() const {
  const std::lock_guard lock(mutex_);
  return running_ || !line_.empty();
}

void Errands::work() {
  for (;;) {
    Errand errand;
    {
      std::unique_lock lock(mutex_);
      running_ = false;
      something_.wait(lock, [this] { return over_ || !line_.empty(); });
      if (over_) return;
      errand = std::move(line_.front());
      line_.pop_front();
      running_ = true;
    }
    const auto code = base::run_command(command_, errand.path, errand.variables, limit_s_, &over_);
    if (!code) {
      fail(errand.path, code.error().text);
    } else if (*code != 0) {
      fail(errand.path, "ended with exit code " + std::to_string(*code));
    }
  }
}

void Errands::fail(const std::string& path, std::string_view why) {
  ++failures_;
  failed_("the command for \"" + path + "\" " + std::string(why));
}

}  // namespace sendworthy::delivery
