// Files that were dropped on the page: bounded, in a private folder, gone at the end.
#pragma once

#include <sendworthy/result.h>

#include <cstdint>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "base/scratch_folder.h"

namespace sendworthy::desk {

struct UploadLimits {
  std::int64_t file_bytes = std::int64_t{4} << 30;
  std::int64_t total_bytes = std::int64_t{64} << 30;
  std::int64_t free_bytes = std::int64_t{1} << 30;  ///< must stay on the disk
  std::size_t files = 500;
};

/// What an upload, or a check with uploads, may be refused with.
struct UploadRefusal {
  int status = 400;
  std::string code, text;
};

/// Safe to use from several threads.
class Uploads {
 public:
  /// `scratch` must outlive this object.
  Uploads(const base::ScratchFolder& scratch, UploadLimits limits) : scratch_(scratch), limits_(limits) {}

  /// One that is on its way: gone without finish().
  class Incoming {
   public:
    Incoming(const Incoming&) = delete;
    Incoming& operator=(const Incoming&) = delete;
    ~Incoming();
    /// Refuses more bytes than were announced, and what the disk does not take.
    [[nodiscard]] tl::expected<void, UploadRefusal> write(std::string_view bytes);
    /// Its id, once every announced byte is there.
    [[nodiscard]] tl::expected<std::string, UploadRefusal> finish();

   private:
    friend class Uploads;
    Incoming(Uploads& uploads, std::string id, std::int64_t bytes, base::NewFile file)
        : uploads_(uploads), id_(std::move(id)), bytes_(bytes), file_(std::move(file)) {}
    Uploads& uploads_;
    const std::string id_;
    const std::int64_t bytes_;
    std::int64_t written_ = 0, looked_at_ = 0;
    bool finished_ = false;
    base::NewFile file_;
  };
  /// `name`: one part of a path of at most 255 bytes; it is the file's name in a folder of its own once it is checked, for names
  /// are judged too. `bytes`: how many will come.
  [[nodiscard]] tl::expected<std::unique_ptr<Incoming>, UploadRefusal> begin(std::string_view name, std::int64_t bytes);

  /// False where there is none of this id. Checks that began keep what they have.
  bool remove(std::string_view id);

  struct Listed {
    std::string id, name;
    std::int64_t bytes = 0;
  };
  /// Those that are there whole, in the order in which they began.
  [[nodiscard]] std::vector<Listed> list() const;

  struct Lent {
    std::string path, name;
  };
  /// Puts the file under its own name into a folder, which must be on the same disk; `id` stays as long as some check has it.
  [[nodiscard]] tl::expected<Lent, UploadRefusal> lend(std::string_view id, const std::string& folder);
  /// The counterpart: removes the upload with the last check that had it.
  void give_back(std::string_view id);
  /// The counterpart where the check came to nothing: the upload stays.
  void take_back(std::string_view id);

  [[nodiscard]] const UploadLimits& limits() const { return limits_; }

 private:
  struct One {
    std::string name;
    std::int64_t bytes = 0;
    int lent = 0;
    std::uint64_t number = 0;
    bool whole = false;
  };
  [[nodiscard]] std::string path_of(std::string_view id) const { return scratch_.path() + "/" + std::string(id); }
  void erase(std::map<std::string, One, std::less<>>::iterator found);
  [[nodiscard]] tl::unexpected<UploadRefusal> disk_is_full(std::int64_t bytes) const;

  const base::ScratchFolder& scratch_;
  const UploadLimits limits_;
  mutable std::mutex mutex_;
  std::map<std::string, One, std::less<>> all_;
  std::int64_t total_bytes_ = 0;
  std::uint64_t last_ = 0;
};

}  // namespace sendworthy::desk
