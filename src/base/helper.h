// Another program as a helper: bytes in, bytes out, through pipes. No shell, no files, and an end in any case.
#pragma once

#include <sendworthy/result.h>

#include <atomic>
#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/os.h"

namespace sendworthy::base {

struct HelperLimits {
  std::size_t output_bytes = 1 << 20;  ///< one byte more, and the helper is ended
  double quiet_s = 20;                 ///< without one byte in or out
  double total_s = 120;
  std::size_t memory_bytes = std::size_t{2} << 30;  ///< of a stream only: address space
};

/// The absolute path of a program in the folders of PATH. Empty and relative folders are passed over: what lies in the
/// working folder is never run.
[[nodiscard]] std::optional<std::string> find_program(std::string_view name);

/// Runs `program` (an absolute path), writes `input` to it, and returns what it wrote to its standard output once it ended
/// with 0. It gets three pipes and no other open file, a process group of its own (a Ctrl-C reaches it through `stop`), and
/// is killed when this process ends. Errors: interrupted (`stop` was set; may be null); unreadable: it could not be
/// started, failed, hung, or wrote more than it may. The text has the first line of its standard error, cleaned.
/// The calling thread waits. Linux and other systems with fork; may be called from several threads.
[[nodiscard]] Result<std::string> run_helper(const std::string& program, const std::vector<std::string>& arguments,
                                             std::string_view input, const HelperLimits& limits,
                                             const std::atomic<bool>* stop = nullptr);
/// The same, handing on the output piece by piece as it comes; what came before an error was handed on too.
[[nodiscard]] Result<void> run_helper(const std::string& program, const std::vector<std::string>& arguments,
                                      std::string_view input, const HelperLimits& limits, const std::atomic<bool>* stop,
                                      const std::function<void(std::string_view)>& take);

/// A helper whose output is read while it runs, so that neither side holds it all; its standard input is a file. It may
/// write no file, and besides `limits` its processor time is bounded by total_s. Of the time only what is spent waiting for
/// it counts. It is ended with this object. Not thread-safe; may move between threads.
class HelperStream {
 public:
  /// `input` may be closed afterwards; the helper sees it from its start by opening /dev/stdin. Error: unreadable.
  [[nodiscard]] static Result<HelperStream> start(const std::string& program, const std::vector<std::string>& arguments,
                                                  const InputFile& input, const HelperLimits& limits);
  HelperStream(HelperStream&&) noexcept;
  HelperStream& operator=(HelperStream&&) noexcept;
  ~HelperStream();
  /// Fills `to`; fewer bytes only at the end, 0 once it ended with 0. Errors as of run_helper, and then again at each call.
  [[nodiscard]] Result<std::size_t> read(void* to, std::size_t bytes);
  /// The first 4096 bytes of its standard error so far, as they came.
  [[nodiscard]] std::string_view said() const;

 private:
  struct Impl;
  explicit HelperStream(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace sendworthy::base
