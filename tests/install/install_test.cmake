# Installs the build into an empty prefix, then configures, builds and runs a project that knows that prefix only.
set(prefix ${WORK}/prefix)
set(build ${WORK}/consumer-build)
file(REMOVE_RECURSE ${prefix} ${build})

function(run)
  execute_process(COMMAND ${ARGV} RESULT_VARIABLE code OUTPUT_VARIABLE said ERROR_VARIABLE said)
  if(NOT code EQUAL 0)
    list(JOIN ARGV " " command)
    message(FATAL_ERROR "exit ${code}: ${command}\n${said}")
  endif()
endfunction()

run(${CMAKE_COMMAND} --install ${BUILD} --prefix ${prefix})

# Nothing internal gets out: only the public headers are installed.
file(GLOB_RECURSE headers RELATIVE ${prefix}/include ${prefix}/include/*)
if(NOT headers)
  message(FATAL_ERROR "no header was installed")
endif()
foreach(header IN LISTS headers)
  if(NOT header MATCHES "^sendworthy/[a-z_]+\\.h$")
    message(FATAL_ERROR "installed, but not a public header: ${header}")
  endif()
endforeach()

run(${CMAKE_COMMAND} -S ${CONSUMER} -B ${build} -G ${GENERATOR} -DCMAKE_BUILD_TYPE=Release
    -DCMAKE_CXX_COMPILER=${COMPILER} -DCMAKE_PREFIX_PATH=${prefix})
run(${CMAKE_COMMAND} --build ${build})
run(${build}/consumer ${WORK}/tone.wav)
