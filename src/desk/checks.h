// The checks that the page asked for: one after another, watched, stopped, kept for a while.
#pragma once

#include <sendworthy/check.h>

#include <atomic>
#include <condition_variable>
#include <cstdint>
#include <functional>
#include <list>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

#include "base/os.h"
#include "base/scratch_folder.h"
#include "desk/json.h"
#include "desk/tasks.h"
#include "desk/uploads.h"

namespace sendworthy::desk {

/// Everything that a check needs and the page does not choose.
struct CheckSettings {
  int jobs = 1;
  ReadingStore* store = nullptr;  ///< may be null
  std::optional<Monitoring> monitoring;
  std::function<std::string()> today;  ///< the day by which waivers are judged, YYYY-MM-DD
};

/// Safe to use from several threads. Finished sheets lie written in the scratch folder, so that many take no memory; what a plan asks is
/// kept beside.
class Checks {
 public:
  /// All must outlive this object.
  Checks(const base::ScratchFolder& scratch, Uploads& uploads, CheckSettings settings);
  Checks(const Checks&) = delete;
  Checks& operator=(const Checks&) = delete;
  ~Checks();

  static constexpr std::size_t kMost = 50;

  /// The id. Refused: 404 an upload that is not there, 409 when kMost checks wait or run.
  [[nodiscard]] tl::expected<std::string, UploadRefusal> add(std::unique_ptr<Task> task);
  [[nodiscard]] std::optional<Json> tell(std::string_view id) const;
  [[nodiscard]] Json tell_all() const;
  /// False where there is none of this id. One that is over stays as it is.
  bool stop(std::string_view id);
  /// Stops it first where it runs; it is gone for whoever asks right away.
  bool remove(std::string_view id);
  /// Where its written sheet lies. Refused: 404 there is no such check; 409 it has no sheet (yet), or none of this form.
  [[nodiscard]] tl::expected<std::string, UploadRefusal> sheet_path(std::string_view id, std::string_view ending) const;
  /// Where the sound of a file of its sheet lies, counted from 1; nothing where there is no such check, sheet or file.
  struct Part {
    std::string path;
    std::string mark;  ///< Sound::mark_of() it before it was checked; empty where that is not known
  };
  [[nodiscard]] std::optional<Part> part_of(std::string_view id, std::size_t part) const;
  /// How two bounces stand to each other. Refused: 404 there is no such check; 409 it is none of two bounces, or came to no pair (yet).
  [[nodiscard]] tl::expected<Json, UploadRefusal> pair(std::string_view id) const;
  /// Where a song stands by its plan, and the answer to one question kept: see ListeningPass. Refused also: 404 there is no such
  /// check; 409 it is none of a plan, is not done, or the plan asks nothing that could be answered.
  [[nodiscard]] tl::expected<Json, UploadRefusal> listening(std::string_view id) const;
  [[nodiscard]] tl::expected<Json, UploadRefusal> answer(std::string_view id, const AnswerWish& wish) const;
  /// Stops everything and waits for its end.
  void end();

  struct Changes {
    std::uint64_t until = 0;
    std::vector<Json> checks;          ///< as tell()
    std::vector<std::string> removed;  ///< ids
  };
  /// What changed after `since` (0: everything that is there); waits for it up to so many seconds.
  [[nodiscard]] Changes changes(std::uint64_t since, double wait_s) const;

 private:
  struct One;
  void work();
  void run(One& one);
  void finish(One& one, TaskEnd end, const std::map<std::string, std::string>& marks, const std::map<std::string, base::FileState>& states);
  [[nodiscard]] tl::expected<std::shared_ptr<One>, UploadRefusal> done(std::string_view id) const;
  [[nodiscard]] tl::expected<std::shared_ptr<ListeningPass>, UploadRefusal> pass_of(std::string_view id) const;
  void touch(One& one);
  void let_go(std::list<std::shared_ptr<One>>::iterator found);
  [[nodiscard]] std::shared_ptr<One> find(std::string_view id) const;
  [[nodiscard]] static Json tell(const One& one);

  const base::ScratchFolder& scratch_;
  Uploads& uploads_;
  const CheckSettings settings_;
  mutable std::mutex mutex_;
  mutable std::condition_variable changed_;
  std::list<std::shared_ptr<One>> all_;  ///< in the order they were asked for
  std::list<std::pair<std::uint64_t, std::string>> removed_;
  std::uint64_t revision_ = 0, last_ = 0;
  bool ending_ = false;
  std::thread worker_;
};

}  // namespace sendworthy::desk
